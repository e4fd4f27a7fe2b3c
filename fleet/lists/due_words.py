"""A due line in words, the same in a command and on a page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.measures.times import show_day, show_hours

if TYPE_CHECKING:
    from datetime import date

    from fleet.lists.due import DueLine


def say_when(line: DueLine, today: date) -> str:
    """The day, or the meter; a forecast says on what use it rests."""
    used_up = line.use_left is not None and line.use_left <= 0
    past_its_day = line.due_on is not None and line.due_on < today
    if line.by == "calendar" or (past_its_day and not used_up):
        return "never done" if line.never_done else _day(line.due_on)
    limit = []
    if line.due_cycles is not None:
        limit.append(f"{line.cycles:,} of {line.due_cycles:,} cycles")
    if line.due_minutes is not None:
        limit.append(f"{show_hours(line.minutes)} of {show_hours(line.due_minutes)} pump hours")
    meter = ", ".join(limit)
    if used_up:
        return f"by use: {meter}"
    recent = []
    if line.recent_cycles:
        recent.append(f"{line.recent_cycles:,} cycles")
    if line.recent_minutes:
        recent.append(f"{show_hours(line.recent_minutes)} h")
    basis = " and ".join(recent)
    return f"about {_day(line.forecast_on)} by use: {meter}; {basis} in {line.recent_days} days"


def say_where(line: DueLine) -> str:
    """The shelf, or who has it for which job and until when."""
    if line.holder:
        return f"{line.holder}, {line.job}, back {_day(line.back_on)}"
    return f"{line.shelf or 'in'}{', on hold' if line.on_hold else ''}"


def _day(value: date | None) -> str:
    return show_day(value) if value else ""
