"""The parts that the pages fall into, for the two rows of ways at the top of each."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache


@dataclass(frozen=True, slots=True)
class Area:
    """One part: where it begins, what it is called, and the pages in it by address and name.

    What lies under one of its pages without saying so stands in ``also``, with the page.
    """

    way: str
    name: str
    pages: tuple[tuple[str, str], ...] = ()
    also: tuple[tuple[str, str], ...] = ()


AREAS = (
    Area("/", "Start"),
    Area("/counter", "Counter", (("/counter", "Hand out"), ("/back", "Take back"))),
    Area(
        "/items",
        "Items",
        (
            ("/items", "Register"),
            ("/due", "Due"),
            ("/out", "Out"),
            ("/away", "Away"),
            ("/holds", "Holds"),
            ("/certificates", "Certificates"),
            ("/models", "Models"),
            ("/labels", "Labels"),
        ),
        also=(("/model", "/models"),),
    ),
    Area(
        "/plan",
        "Plan",
        (
            ("/plan", "Jobs"),
            ("/weeks", "Weeks"),
            ("/kits", "Find a kit"),
            ("/reserved", "Reserved"),
            ("/shutdowns", "Shutdowns"),
            ("/sheets", "Sheets"),
        ),
        also=(("/job", "/plan"), ("/kit-sheet", "/plan")),
    ),
    Area(
        "/review",
        "Review",
        (
            ("/review", "Overdue"),
            ("/concessions", "Concessions"),
            ("/impact", "Impact"),
            ("/recalls", "Recalls"),
            ("/trends", "Trends"),
            ("/evidence", "Evidence"),
            ("/day-book", "Day book"),
            ("/letters", "Letters"),
            ("/deputies", "Deputies"),
            ("/people", "People"),
        ),
    ),
    Area("/bench", "Bench"),
)


@lru_cache(1024)
def area_of(path: str) -> Area:
    """The part that a page belongs to: the one with the longest way that its path begins with."""
    found, longest = AREAS[0], 0
    for area in AREAS:
        for way in (area.way, *(page for page, _ in (*area.pages, *area.also))):
            if (path == way or path.startswith((f"{way}/", f"{way}."))) and len(way) > longest:
                found, longest = area, len(way)
    return found


@lru_cache(1024)
def page_of(path: str) -> str:
    """The page among those of its part that a path is, or lies under."""
    area = area_of(path)
    pages = {way: way for way, _ in area.pages} | dict(area.also)
    ways = [way for way in pages if path == way or path.startswith((f"{way}/", f"{way}."))]
    return pages[max(ways, key=len)] if ways else ""
