"""Days, weeks and instants: a day is a civil date at a site, an instant is aware UTC; no clock is read."""

import calendar
import difflib
import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from fleet.refusals import Unreadable

# Written out, because the calendar module names months in the language of the machine.
_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
_DAY_EXAMPLE = "write it like 2026-03-27 or 27 Mar 2026"

# Nothing in a tool room is dated outside these years; a year outside them is a slip of the finger.
_FIRST_YEAR, _LAST_YEAR = 1970, 2100

_ISO_DAY = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})")
_SPOKEN_DAY = re.compile(r"([0-9]{1,2}) ([A-Za-z]{3,9}) ([0-9]{4})")
_SHORT_DAY = re.compile(r"([0-9]{1,2})[./-]([0-9]{1,2})[./-]([0-9]{4}|[0-9]{2})")
_WEEK = re.compile(r"([0-9]{4})-W([0-9]{2})")
_SPAN = re.compile(r"([0-9]{1,4}) ?([dwDW])")
_MOMENT = re.compile(r"(.*?)[ T]([01][0-9]|2[0-3]):([0-5][0-9])")
_NO_YEAR = re.compile(r"([0-9]{1,2}) ([A-Za-z]{3,9})(?: (?=[0-9]{1,2}:)(.*))?")
_CLOCK = re.compile(r"[0-9]{1,2}[:.h]")
_INSTANT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{6}Z")


def add_months(anchor: date, months: int) -> date:
    """Answer the same day some months on, or the last day of a month too short for it.

    Always count from the anchor: 31 Jan gives 28 Feb and then 31 Mar, not 28 Mar.
    """
    years, month = divmod(anchor.month - 1 + months, 12)
    year, month = anchor.year + years, month + 1
    return date(year, month, min(anchor.day, calendar.monthrange(year, month)[1]))


def iso_week(day: date) -> str:
    """Answer the ISO 8601 week of a day, such as ``2026-W53``; its year may differ from the day's."""
    year, week, _ = day.isocalendar()
    return f"{year:04d}-W{week:02d}"


def read_week(text: str) -> str:
    """Read an ISO 8601 week such as ``2026-W07``. Raises Unreadable, also where the year has no such week."""
    return iso_week(monday_of(text.strip()))


def monday_of(week: str) -> date:
    """Answer the Monday on which an ISO week begins. Raises Unreadable as ``read_week`` does."""
    found = _WEEK.fullmatch(week)
    if not found:
        raise Unreadable(f'"{week}" is not a week; write it like 2026-W07.')
    year, number = int(found[1]), int(found[2])
    _check_year(week, year)
    try:
        return date.fromisocalendar(year, number, 1)
    except ValueError:
        # 28 December always lies in the last week of its ISO year (ISO 8601).
        last = date(year, 12, 28).isocalendar().week
        raise Unreadable(f'"{week}" does not exist; the weeks of {year} are W01 to W{last}.') from None


def next_week(week: str) -> str:
    """Answer the ISO week after this one."""
    return iso_week(monday_of(week) + timedelta(weeks=1))


def previous_week(week: str) -> str:
    """Answer the ISO week before this one."""
    return iso_week(monday_of(week) - timedelta(weeks=1))


def read_day(text: str) -> date:
    """Read ``2026-03-27``, ``27 Mar 2026`` or ``27 March 2026``. Raises Unreadable with what to write."""
    tidy = " ".join(text.split())
    if found := _ISO_DAY.fullmatch(tidy):
        return _day(tidy, int(found[1]), int(found[2]), int(found[3]))
    if found := _SPOKEN_DAY.fullmatch(tidy):
        month = _month(found[2])
        if month:
            return _day(tidy, int(found[3]), month, int(found[1]))
    if found := _SHORT_DAY.fullmatch(tidy):
        raise Unreadable(_two_ways(tidy, int(found[1]), int(found[2]), found[3]))
    raise Unreadable(f'"{tidy[:40]}" is not a day; {_DAY_EXAMPLE}.')


def with_year(text: str, today: date, *, ahead: bool = True) -> str:
    """Put the year to a day written without one, ``27 mar`` or ``27 mar 07:00``: the next such from today.

    Of what is over it is the last such day. Anything else is answered as it is, for whoever reads it.
    """
    tidy = " ".join(text.split())
    found = _NO_YEAR.fullmatch(tidy)
    month = _month(found[2]) if found else None
    if not found or not month:
        return tidy
    # A 29 February comes within eight years, also over a century that has none.
    for year in range(today.year, today.year + 9) if ahead else range(today.year, today.year - 9, -1):
        try:
            day = date(year, month, int(found[1]))
        except ValueError:
            continue
        if day == today or (day > today) is ahead:
            return f"{day.isoformat()} {found[3] or ''}".strip()
    return f"{found[1]} {found[2]} {today.year} {found[3] or ''}".strip()


def show_day(day: date) -> str:
    """Write a day like ``27 Mar 2026``, in English whatever the machine's language."""
    return f"{day.day} {_MONTHS[day.month - 1][:3]} {day.year:04d}"


def show_moment(instant: datetime, there: ZoneInfo) -> str:
    """Write an instant in a site's own time, to the minute: ``27 Mar 2026 14:05``."""
    local = instant.astimezone(there)
    return f"{show_day(local.date())} {local:%H:%M}"


def show_window(starts_at: datetime, ends_at: datetime, there: ZoneInfo) -> tuple[str, str]:
    """Write from when to when in a site's own time: whole days without their hours, the last one included."""
    first, last = local_day(starts_at, there), local_day(ends_at - timedelta(microseconds=1), there)
    begins_whole = starts_at == start_of_day(first, there)
    ends_whole = ends_at == start_of_day(last + timedelta(days=1), there)
    return (
        show_day(first) if begins_whole else show_moment(starts_at, there),
        show_day(last) if ends_whole else show_moment(ends_at, there),
    )


def show_hours(minutes: int) -> str:
    """Write minutes of a meter as hours and tenths, cut off: none short of a limit looks as if at it."""
    return f"{minutes * 10 // 60 / 10:,.1f}".removesuffix(".0")


def read_span(text: str) -> int:
    """Read ``30d`` or ``6w`` as days. Raises Unreadable for anything else, as months differ in length."""
    found = _SPAN.fullmatch(text.strip())
    if not found:
        raise Unreadable(f'"{text.strip()[:40]}" is not a number of days or weeks; write it like 30d or 6w.')
    return int(found[1]) * (7 if found[2] in "wW" else 1)


def read_moment(text: str, zone: ZoneInfo, *, end: bool = False) -> datetime:
    """Read ``2026-05-04``, ``2026-05-04 07:00`` or ``4 May 2026 07:00`` of a site as an instant in UTC.

    A bare day means its start, or with ``end`` the start of the next day, so that a window holds its last
    day. An hour that comes twice when clocks go back is the first. Raises Unreadable, also for a time that
    clocks skip.
    """
    tidy = " ".join(text.split())
    found = _MOMENT.fullmatch(tidy)
    if not found:
        if _CLOCK.search(tidy):
            raise Unreadable(f'"{tidy[:40]}" is not a day and time; write it like 2026-05-04 07:00.')
        return start_of_day(read_day(tidy) + timedelta(days=1 if end else 0), zone)
    wall = datetime.combine(read_day(found[1]), time(int(found[2]), int(found[3])), zone)
    moment = wall.astimezone(UTC)
    shown = moment.astimezone(zone)
    if shown.replace(tzinfo=None) != wall.replace(tzinfo=None):
        raise Unreadable(
            f'"{tidy}" does not exist in {zone.key}, because clocks go forward then; '
            f"write {shown:%H:%M} or a time that exists."
        )
    return moment


def zone(name: str) -> ZoneInfo:
    """Answer the time zone of this name, such as ``Europe/Berlin``. Raises Unreadable for unknown names."""
    # "right/" zones count leap seconds and "localtime" is whatever this machine is set to.
    if not name.startswith(("right/", "posix/", "localtime")):
        try:
            return ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            pass
    near = difflib.get_close_matches(name, available_timezones() - {"localtime"}, n=1)
    like = near[0] if near else "Europe/Berlin"
    raise Unreadable(f'"{name[:40]}" is not a time zone; write one like {like}.')


def local_day(instant: datetime, zone: ZoneInfo) -> date:
    """Answer the civil date at a site at this instant."""
    return as_utc(instant).astimezone(zone).date()


def last_day(ends_at: datetime) -> date:
    """The day of the last instant before ``ends_at``, in its own zone: midnight belongs to the day before.

    Counted in UTC, since a night of changing clocks may have no instant just before midnight on the wall.
    """
    before = ends_at.astimezone(UTC) - timedelta(microseconds=1)
    return before.astimezone(ends_at.tzinfo).date()


def start_of_day(day: date, zone: ZoneInfo) -> datetime:
    """Answer the instant, in UTC, at which a day begins at a site, also where clocks skip midnight."""
    # A skipped 00:00 is read with the offset before the change, which is the very instant of the change.
    return datetime.combine(day, time(), zone).astimezone(UTC)


def as_utc(instant: datetime) -> datetime:
    """Answer the same instant in UTC. Raises ValueError for a naive one, which is a slip of the program."""
    if instant.utcoffset() is None:
        raise ValueError(f"an instant without a time zone was handed in: {instant.isoformat()}")
    return instant.astimezone(UTC)


def write_instant(instant: datetime) -> str:
    """Write an instant as ``2026-05-04T05:00:00.000000Z``: always as wide, so that text sorts like time."""
    return as_utc(instant).isoformat(timespec="microseconds").removesuffix("+00:00") + "Z"


def read_instant(text: str) -> datetime:
    """Read what ``write_instant`` wrote. Raises Unreadable for anything else."""
    if _INSTANT.fullmatch(text):
        try:
            return datetime.fromisoformat(text)
        except ValueError:
            pass
    raise Unreadable(f'"{text[:40]}" is not an instant; write it like 2026-05-04T05:00:00.000000Z.')


def last_letter_due(now: datetime, zone: ZoneInfo, weekday: int, hour: int) -> tuple[str, datetime]:
    """Answer the newest ISO week whose letter moment has passed, and that moment in UTC.

    The moment is this weekday (0 = Monday) and full hour at the site; when clocks skip the hour it is the
    hour after, and when the hour comes twice it is the first. Each ISO week has exactly one.
    """
    if not 0 <= weekday <= 6:  # noqa: PLR2004  Monday to Sunday.
        raise ValueError(f"a weekday is from 0 (Monday) to 6 (Sunday), not {weekday}")
    today = local_day(now, zone)
    monday = today - timedelta(days=today.weekday())
    while (moment := _letter_moment(monday, zone, weekday, hour)) > now:
        monday -= timedelta(weeks=1)
    return iso_week(monday), moment


def _letter_moment(monday: date, zone: ZoneInfo, weekday: int, hour: int) -> datetime:
    return datetime.combine(monday + timedelta(days=weekday), time(hour), zone).astimezone(UTC)


def _month(word: str) -> int | None:
    """Answer the number of a month in English, by its first three letters or its whole name."""
    for number, name in enumerate(_MONTHS, start=1):
        if word.casefold() in (name.casefold(), name[:3].casefold()):
            return number
    return None


def _check_year(text: str, year: int) -> None:
    if not _FIRST_YEAR <= year <= _LAST_YEAR:
        raise Unreadable(f'The year in "{text}" is not from {_FIRST_YEAR} to {_LAST_YEAR}; check the year.')


def _day(text: str, year: int, month: int, day: int) -> date:
    _check_year(text, year)
    if not 1 <= month <= len(_MONTHS):
        raise Unreadable(f'"{text}" has no month from 1 to 12 in its middle; {_DAY_EXAMPLE}.')
    last = calendar.monthrange(year, month)[1]
    if not 1 <= day <= last:
        name = _MONTHS[month - 1]
        raise Unreadable(f"{day} {name} {year} does not exist; {name} {year} has {last} days.")
    return date(year, month, day)


def _two_ways(text: str, first: int, second: int, year: str) -> str:
    """Answer why a day written in figures is refused, with the days it may mean."""
    full = int(year) if len(year) > 2 else 2000 + int(year)  # noqa: PLR2004  Two figures, or all four.
    meant = []
    for month, day in ((second, first), (first, second)):
        try:
            meant.append(date(full, month, day))
        except ValueError:
            continue
    ways = list(dict.fromkeys(f"{day.isoformat()} for {show_day(day)}" for day in meant))
    if not ways:
        return f'"{text}" is not a day; {_DAY_EXAMPLE}.'
    trouble = "can be read in more than one way" if len(ways) > 1 else "is not how days are written here"
    return f'"{text}" {trouble}; write {" or ".join(ways)}.'
