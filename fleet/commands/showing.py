"""How days, moments and tags are shown."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date, datetime


def day(value: date | None) -> str:
    """A day as people write it."""
    from fleet.measures.times import show_day

    return show_day(value) if value else ""


def moment(value: datetime, time_zone: str) -> str:
    """An instant in the site's own time, to the minute."""
    from fleet.measures.times import show_moment, zone

    return show_moment(value, zone(time_zone))


def window(starts_at: datetime, ends_at: datetime, time_zone: str) -> tuple[str, str]:
    """From when to when in the site's own time; whole days without their hours, the last one included."""
    from fleet.measures.times import show_window, zone

    return show_window(starts_at, ends_at, zone(time_zone))


def tag(value: str) -> str:
    """A tag with its dash."""
    from fleet.measures.tags import show_tag

    return show_tag(value)
