"""Values as they stand in a paper: days and instants at the site, numbers as far as they mean anything."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING

from fleet.measures.times import show_day

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

# Where a long word may be broken: a digest or a sealed entry has no space of its own.
_BREAK = "\u200b"
_LONGEST_WORD = 20


def cell(value: object, there: ZoneInfo) -> str:
    """One value as text."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return f"{show_day(value.astimezone(there).date())} {value.astimezone(there):%H:%M}"
    if isinstance(value, date):
        return show_day(value)
    if isinstance(value, float):
        return f"{value:,.6g}"
    return " ".join(_broken(word) for word in str(value).split(" "))


def _broken(word: str) -> str:
    if len(word) <= _LONGEST_WORD:
        return word
    return _BREAK.join(word[at : at + 12] for at in range(0, len(word), 12))
