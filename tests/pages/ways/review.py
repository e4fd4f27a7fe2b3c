"""The start, the review, the day book, evidence, letters of a site, deputies, and people."""

from __future__ import annotations

from tests.pages.ways import DOOR, Way, file, own_page, page, post

# Each session of the demo has just been confirmed, so acts that ask for it go through to their sentence.
_PACK = (DOOR, 200, 200, 200, 404, 404)


def _of_site(address: str) -> Way:
    """A page of the visitor's first site: without a role anywhere there is none."""
    return page(address, roleless=404)


def _of_keepers(address: str) -> Way:
    return Way("GET", address, (DOOR, 200, 403, 200, 200, 404))


WAYS = (
    page("/"),
    _of_site("/review"),
    own_page("/review?site=NORTH&kind=hose&where=in"),
    _of_site("/review?kind=socket"),
    _of_site("/review?page=99"),
    _of_site("/review/certificates"),
    _of_site("/review/intervals"),
    post("/review/intervals/1", *(404,) * 5, choice="take", reason="No proposal is there"),
    _of_site("/concessions"),
    _of_site("/impact"),
    page("/impact/1", 404, elsewhere=404, roleless=404),
    post("/impact/1/decide", *(404,) * 5, line="1", ruling="accept", reason="Nothing is there"),
    post("/impact/1/close", *(404,) * 5, summary="Nothing is there"),
    _of_site("/recalls"),
    _of_site("/recalls/new"),
    page("/recalls/new?model=HTW-A20&serials=x..y", 409, roleless=404),
    _of_site("/recalls/new?model=HTW-A20&notice=Maker+17&reason=The+crimp+may+open"),
    page("/recalls/9", 404),
    post("/recalls", 403, 403, 422, 422, 404, model="none", notice="Maker 17", reason="The crimp may open"),
    post("/recalls/9/end", *(404,) * 5, reason="The notice was lifted"),
    _of_site("/trends"),
    own_page("/trends/drift?item=201101"),
    page("/evidence"),
    own_page("/evidence?about=201101"),
    own_page("/evidence?about=NB-142"),
    page("/evidence?about=%3Cb%3Enothing%3C/b%3E", 404),
    file("/evidence.pdf?about=201101", _PACK),
    file("/evidence.xlsx?about=NB-142", _PACK),
    file("/evidence.zip?about=201101", _PACK),
    _of_site("/day-book"),
    _of_site("/day-book?site=room"),
    own_page("/day-book?site=NORTH&act=imported&since=2026-05-01&through=2026-05-31"),
    Way("GET", "/day-book?since=soon", (DOOR, 422, 422, 422, 422, 404)),
    _of_site("/day-book/late"),
    _of_site("/day-book/proof"),
    own_page("/day-book/proof?site=NORTH&seal=1%C2%B70123456789abcdef"),
    Way("GET", "/day-book/proof?seal=none", (DOOR, 422, 422, 422, 422, 404)),
    page("/letters"),
    _of_keepers("/letters/site"),
    page("/letters/1", 404, elsewhere=404, roleless=404),
    post("/letters/1/acknowledge", *(404,) * 5),
    post("/letters/1/resend", *(404,) * 5, reason="The address was mended"),
    page("/deputies"),
    post("/deputies/absence", 422, 422, 422, 422, 422, **{"person": "N11", "from": "soon", "through": "x"}),
    post("/deputies/absence/end", 409, 403, 409, 404, 404, person="N22", first="2026-05-18"),
    post("/deputies/standing", "/deputies", 403, "/deputies", 404, 404, person="N22", stand_in="N21"),
    page("/people"),
    Way("GET", "/people?badge=N11", (DOOR, 200, 200, 200, 404, 200), roleless=404),
    post(
        "/people/role", "/people", 403, "/people", 404, "/people", badge="N22", role="planner", site="NORTH"
    ),
    post(
        "/people/role/end",
        409,
        403,
        409,
        404,
        409,
        badge="N22",
        role="keeper",
        site="NORTH",
        reason="Is none",
    ),
    post("/people/administrator", 403, 403, 403, 404, 409, badge="N22", on="no", reason="no"),
    post("/people/active", 409, 403, 409, 404, 409, badge="N22", on="no", reason="no"),
)
