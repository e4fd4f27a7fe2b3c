"""The tokens of programs, the calendar for a calendar program, and the page about the interface."""

from tests.pages.ways import Way, file, page, post

WAYS = (
    page("/tokens"),
    post("/tokens", *(422,) * 5, name="Scanner", days="0", scope="read"),
    post("/calendars", *(422,) * 5, site="NOWHERE"),
    post("/tokens/1/end", *(404,) * 5),
    file("/calendar/made-up.ics", (404,) * 6),
    Way("GET", "/api/", (200,) * 6),
)
