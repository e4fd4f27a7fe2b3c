"""Small phrases of letters: texts on one line, counts, moments, and the state of a site in one sentence."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING

from fleet.measures.times import show_day, show_moment, zone

if TYPE_CHECKING:
    from datetime import datetime

    from fleet.mail.snapshot import Snapshot

# What people have written may be long; a letter has to stay short enough to be read.
LONGEST_TEXT = 160
# More weeks than this are said as a range.
LISTED_WEEKS = 3


def one_line(text: str, longest: int = LONGEST_TEXT) -> str:
    """The text on one line: no line ends, control or direction marks, and cut when it is too long."""
    plain = "".join(" " if unicodedata.category(char).startswith("C") else char for char in text)
    tidy = " ".join(plain.split())
    return tidy if len(tidy) <= longest else tidy[: longest - 1].rstrip() + "…"


def log_in(pages: str | None) -> str:
    """What to do in the pages; no link acknowledges anything by itself."""
    return f"log in at {pages}/letters and press its button" if pages else "log in and press its button"


def counted(number: int, one: str, many: str, none: str) -> str:
    """A number with what is counted: ``nothing is out``, ``1 item is out``, ``12 items are out``."""
    if not number:
        return none
    return f"{number} {one if number == 1 else many}"


def days(number: int) -> str:
    """A number of days: ``today``, ``1 day``, ``12 days``."""
    return counted(number, "day", "days", "today")


def moment(instant: datetime, time_zone: str) -> str:
    """An instant in the site's own time, to the minute: ``13 May 2026 12:00``."""
    return show_moment(instant, zone(time_zone))


def moment_with_zone(instant: datetime, time_zone: str) -> str:
    """As ``moment``, with what tells the two hours apart when clocks go back."""
    offset = f"{instant.astimezone(zone(time_zone)):%z}"
    return f"{moment(instant, time_zone)} ({time_zone}, UTC{offset[:3]}:{offset[3:5]})"


def state(facts: Snapshot) -> str:
    """The state of the site in one sentence."""
    held = len({line.tag for line in facts.holds})
    overdue = counted(len(facts.overdue), "task is overdue", "tasks are overdue", "Nothing is overdue")
    out = len({line.tag for line in facts.overdue if line.holder})
    if out:
        overdue += f" ({counted(out, 'of these items is out', 'of these items are out', '')})"
    coming = counted(len(facts.coming_due), "comes due", "come due", "nothing comes due")
    hold = counted(held, "item is on hold", "items are on hold", "nothing is on hold")
    late = counted(len(facts.late), "item is late back", "items are late back", "nothing is late back")
    return f"{overdue}, {coming} by {show_day(facts.until)}; {hold}, {late}."


def weeks(missed: tuple[str, ...]) -> str:
    """Weeks as a list, or as a range when they are many."""
    if len(missed) > LISTED_WEEKS:
        return f"{missed[0]} to {missed[-1]} ({len(missed)} weeks)"
    return ", ".join(missed[:-1]) + (" and " if missed[:-1] else "") + missed[-1]
