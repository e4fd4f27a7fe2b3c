"""The counter: what was scanned, what goes out, what comes back, and undoing it."""

from tests.pages.ways import DOOR, Way, own_page, page, post

# Of NB-142, reserved and in; out with somebody for NB-141; a hose past its life.
_IN, _OUT, _STAYS = "201136", "201415", "201642"


def _scan(code: str, leads: str, elsewhere: int | str = 404) -> Way:
    """A scan: what it leads to at NORTH, and for somebody of EAST; without a role nothing is looked up."""
    return Way("GET", f"/scan?code={code}", ("/in", leads, leads, leads, elsewhere, 404))


WAYS = (
    _scan("", "/counter", "/counter"),
    _scan(_IN, "/counter"),
    _scan("20113-6", "/counter"),
    _scan("H23-2234", "/back"),
    _scan(_OUT, "/back"),
    _scan(f"N44&at=/back&item={_OUT}", "/counter", "/counter"),
    _scan("Lorna%20Beckhold", "/counter", "/counter"),
    _scan("NB-142", "/counter"),
    page("/scan?code=nothing%20%3Cb%3E", 404),
    page("/counter", roleless=404),
    page(f"/counter?to=N44&item={_IN}&item=201388&item=201683", roleless=404),
    page(f"/counter?to=N44&job=NB-142&item={_IN}&item={_STAYS}&rest={_OUT}", roleless=404),
    page(f"/counter?to=nobody&job=none&back=someday&item=none&item={_IN}", roleless=404),
    page("/counter?job=NB-142", roleless=404),
    own_page("/counter/loans/1"),
    page("/counter/loans/999999", 404),
    post("/counter/issue", 409, 409, 409, 409, 404, to="N44", job="NB-142", item=_STAYS),
    post("/counter/loans/1/undo", 409, 403, 403, 404, 404),
    page("/back", roleless=404),
    page(f"/back?item={_OUT}", roleless=404),
    page(f"/back?item=201101&item={_OUT}&item=201626&item={_IN}&rest=201388&to=N44", roleless=404),
    post("/back", 409, 409, 409, 409, 404, item=_IN),
    own_page("/back/done?line=1"),
    page("/back/done", 404),
    page("/back/done?line=999999", 404),
    post("/back/undo", 409, 403, 403, 404, 404, line="1"),
    page("/labels", roleless=404),
    page("/labels?kind=hose&new=yes", roleless=404),
    page(f"/labels?tags=none%20{_IN}%20%3Cb%3E", roleless=404),
    Way("POST", "/labels.pdf", (DOOR, 200, 403, 403, 409, 404), {"all": f"{_IN} {_STAYS}"}, is_page=False),
)
