"""The register, upkeep, and the certificates."""

from tests.pages.ways import AGAIN, DOOR, Way, file, own_page, page, post

# A hose past its life; a coupler on hold; a wrench whose calibration is overdue; a gauge that is out.
OLD_HOSE, HELD, OVERDUE, OUT = "201642", "201933", "201144", "202065"
NO_ROLE = 404


def _listed(address: str) -> Way:
    """A list of a site: whoever has no role anywhere is told so."""
    return page(address, roleless=NO_ROLE)


def _file(address: str) -> Way:
    return file(address, (DOOR, 200, 200, 200, 404, 404))


def _act(address: str, keeper: int | str, officer: int | str, **form: str) -> Way:
    """An act about something of NORTH that a planner may not do."""
    return post(address, keeper, 403, officer, 404, 404, **form)


_ITEM = f"/items/{OVERDUE}"
_CONCESSION = {
    "task": "calibration",
    "job": "NB-142",
    "asked_by": "N11",
    "code": "no other item",
    "reason": "The other wrench is at the laboratory.",
    "hours": "25",
}
_CERTIFICATE = {
    "number": "C 1",
    "laboratory": "L",
    "on": "2026-05-12",
    "points": "as found; 200 bar; 590 N·m",
}

WAYS = (
    _listed("/items"),
    _listed("/items?kind=hose&about=HTW"),
    _listed("/items?about=nothing-is-called-so"),
    own_page(_ITEM),
    own_page(f"/items/{OLD_HOSE}"),
    own_page(f"/items/{HELD}"),
    own_page(f"/items/{OUT}"),
    _file(f"{_ITEM}/card.pdf"),
    _file(f"{_ITEM}/evidence.pdf"),
    _listed("/due"),
    _listed("/due?until=2026-05-20"),
    page("/due?until=sometime", 422, elsewhere=422, roleless=NO_ROLE),
    _listed("/out"),
    _listed("/away"),
    own_page(f"{_ITEM}/send?errand=calibration"),
    _act(f"{_ITEM}/send", 409, 409, errand="repair"),
    own_page(f"{_ITEM}/calibrate?task=calibration"),
    own_page(f"{_ITEM}/back"),
    _act(f"{_ITEM}/back", 409, 409),
    _listed(f"/holds?item={OVERDUE}"),
    post("/holds", 409, 403, 409, 404, 404, item=OVERDUE, reason="short"),
    own_page(f"/items/{HELD}/release"),
    _act(f"/items/{HELD}/release", 404, 404, evidence="repair/999", words="Seals were changed."),
    own_page(f"{_ITEM}/concession"),
    _act(f"{_ITEM}/concession", 403, 409, **_CONCESSION),
    own_page(f"{_ITEM}/done"),
    own_page("/items/201440/done?task=oil%20change"),
    _act("/items/201440/done", 409, 403, task="oil change", on="2027-01-01"),
    own_page(f"{_ITEM}/limit"),
    _act(f"{_ITEM}/limit", 403, 409, task="calibration"),
    own_page(f"{_ITEM}/retire"),
    _act(f"{_ITEM}/retire", 409, 403, reason="short"),
    own_page(f"{_ITEM}/proof-test"),
    own_page(f"/items/{OLD_HOSE}/proof-test"),
    _act(f"{_ITEM}/proof-test", 403, 403, pressure="much", held="30", tight="tight"),
    own_page(f"{_ITEM}/repair"),
    _act(f"{_ITEM}/repair", 409, 403, work="other", description="short"),
    own_page(f"{_ITEM}/inspect"),
    own_page(f"/items/{OLD_HOSE}/inspect?task=inspection"),
    _act(f"{_ITEM}/inspect", 409, 403, occasion="before use"),
    _listed("/certificates"),
    own_page(f"/certificates?item={OVERDUE}"),
    own_page(f"{_ITEM}/certificate"),
    own_page(f"/items/{OLD_HOSE}/certificate"),
    _act(f"{_ITEM}/certificate", 409, 409, **_CERTIFICATE),
    page(f"/photographs/{'0' * 64}", 404),
    page("/certificates/1/files/x", 404),
    own_page(f"{_ITEM}/use/9"),
    _act(f"{_ITEM}/use/9", 409, 403, reason="short"),
    page(f"{_ITEM}/done/999999", 404),
    post(f"{_ITEM}/done/999999", *(404,) * 5, reason="short"),
    own_page("/inspections/1"),
    _act("/inspections/1", 409, 409, reason="short"),
    own_page("/certificates/1"),
    own_page("/items/201048"),
    _act("/certificates/1/refuse", 409, 409, reason="short"),
    _act("/certificates/1/accept", "/certificates/1", "/certificates/1"),
    _listed("/models"),
    _listed("/model?named=WSQ-76"),
    page("/model?named=nothing", 404),
    _listed("/models?kind=wrench&about=nothing"),
)
__all__ = ["AGAIN", "WAYS"]
