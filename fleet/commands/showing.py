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
    from datetime import timedelta

    from fleet.measures.times import local_day, show_day, start_of_day, zone

    there = zone(time_zone)
    first, last = local_day(starts_at, there), local_day(ends_at - timedelta(microseconds=1), there)
    begins_whole = starts_at == start_of_day(first, there)
    ends_whole = ends_at == start_of_day(last + timedelta(days=1), there)
    return (
        show_day(first) if begins_whole else moment(starts_at, time_zone),
        show_day(last) if ends_whole else moment(ends_at, time_zone),
    )


def tag(value: str) -> str:
    """A tag with its dash."""
    from fleet.measures.tags import show_tag

    return show_tag(value)
