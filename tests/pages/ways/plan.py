"""The planner's pages."""

from tests.pages.ways import DOOR, file, own_page, page, post

_JOINT = "job=NB-142&joint=E-204%20channel"
_LONG = "x" * 4001

WAYS = (
    page("/plan", roleless=404),
    page("/plan?past=yes", roleless=404),
    page("/plan?page=99", roleless=404),
    page("/plan?site=NORTH", elsewhere=404, roleless=404),
    page("/plan/job", roleless=404),
    post(
        "/plan/job",
        "/job",
        "/job",
        403,
        404,
        404,
        site="NORTH",
        job="NB-900",
        name="Try",
        start="2 jun 2026",
        end="3 jun 2026",
    ),
    post("/plan/job", 422, 422, 403, 404, 404, site="NORTH", job=_LONG),
    own_page("/job?job=NB-140"),
    own_page("/job?job=NB-142"),
    own_page("/job?job=NB-142&page=9"),
    own_page("/job/change?job=NB-142"),
    post("/job/change", 422, 422, 403, 404, 404, job="NB-142", name=""),
    own_page("/job/joint?job=NB-142"),
    own_page(f"/job/joint?{_JOINT}"),
    post("/job/joint", 422, 422, 403, 404, 404, job="NB-142", joint="X-1"),
    file("/job/calendar.ics?job=NB-142", (DOOR, 200, 200, 200, 404, 404)),
    post("/job/breakouts", 422, 403, 403, 404, 404, job="NB-142", joint="E-204 channel", reading="much"),
    own_page("/job/withdraw?job=NB-142&entry=1"),
    page("/job/withdraw?job=NB-142&entry=99999999999999999999", 404, elsewhere=404, roleless=404),
    post("/job/withdraw", 409, 403, 403, 404, 404, job="NB-142", entry="1", reason="no"),
)
