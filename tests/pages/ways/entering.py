"""The door, what is one's own, what a monitor asks, and what is not a page."""

from tests.pages.ways import AGAIN, DOOR, Way, file, page, post

_SHUT = (503,) * 6

WAYS = (
    file("/healthz", (200,) * 6),
    file("/healthz/duty", _SHUT),
    file("/static/fleet.css", (200,) * 6),
    Way("GET", "/in", (200, "/", "/", "/", "/", "/")),
    post("/in", *(403,) * 5, nobody=403, badge="nobody", password="no"),  # noqa: S106  It is wrong.
    post("/in/counter", *(403,) * 5, nobody=403, badge="nobody", pin="1"),
    page("/again"),
    post("/again", *(403,) * 5, password="no"),  # noqa: S106  As above.
    Way("GET", "/invited/made-up", (409,) * 6),
    post("/invited/made-up", *(409,) * 5, nobody=409, password="no", again="no"),  # noqa: S106  As above.
    page("/own"),
    post("/own/units", *("/own",) * 5, pressure="psi"),
    post("/own/pin", *(422,) * 5, pin="1"),
    page("/own/second-factor"),
    post("/own/second-factor", *(422,) * 5),
    post("/stations", 409, 403, 409, 403, 409, site="NORTH"),
    post("/stations/1/end", 403, 403, 403, 403, 404),
    post("/invitations", 403, 403, 403, 403, 404, badge="nobody"),
)
LAST = post("/out", *("/in",) * 5, nobody=DOOR)
__all__ = ["AGAIN", "LAST", "WAYS"]
