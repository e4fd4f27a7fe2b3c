"""When to do upkeep ahead of time, so that nothing falls due inside a reserved window.

Work on an item is put into the pause before the window, after its loan or reservation before; all that is due
in one pause is one visit to the bench. Visits are spread over weeks by earliest deadline first, which finds a
plan whenever there is one (Jackson 1955, unit tasks; from memory). Where there is none, some weeks a to b
must hold more visits than they have places, and no other reason exists: Hall's condition (1935) of intervals.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

ONE_DAY = timedelta(days=1)
_NEVER = date.max


@dataclass(frozen=True, slots=True)
class Engaged:
    """An item is out or reserved for a job from the first through the last day."""

    first_day: date
    last_day: date
    job: str


@dataclass(frozen=True, slots=True)
class Due:
    """Work that falls due: usable through ``due_on``."""

    task: str
    due_on: date


@dataclass(frozen=True, slots=True)
class Bench:
    """What is known of one item: what falls due, and when it is engaged."""

    tag: str
    dues: tuple[Due, ...]
    engaged: tuple[Engaged, ...]


@dataclass(frozen=True, slots=True)
class Visit:
    """All that must be done to an item in one pause, from the first through the last day on which it can.

    ``before`` is the job that must find it done; empty when it only falls due.
    """

    tag: str
    tasks: tuple[str, ...]
    first_day: date
    last_day: date
    due_on: date
    before: str | None


@dataclass(frozen=True, slots=True)
class Blocked:
    """Work for which there is no day: the item is engaged until it is too late."""

    tag: str
    tasks: tuple[str, ...]
    due_on: date
    job: str
    until: date


@dataclass(frozen=True, slots=True)
class Placed:
    """A visit and the Monday of the week for which it is planned."""

    visit: Visit
    monday: date


@dataclass(frozen=True, slots=True)
class Overload:
    """Weeks that must hold more visits than they have places, so that no plan can be."""

    first_monday: date
    last_monday: date
    visits: int
    places: int


@dataclass(frozen=True, slots=True)
class UpkeepPlan:
    """The plan: visits by week, what has no day or no place, and the weeks that are too full if any are.

    ``level`` is the fewest places a week with which all visits could be done; the plan uses no more.
    """

    placed: tuple[Placed, ...]
    unplaced: tuple[Visit, ...]
    blocked: tuple[Blocked, ...]
    overload: Overload | None
    level: int


def plan_upkeep(benches: Iterable[Bench], first: date, weeks: int, capacity: int) -> UpkeepPlan:
    """Plan the visits of weeks that begin with the day ``first``; ``capacity`` is how many fit in a week."""
    last = _monday(first) + timedelta(weeks=weeks) - ONE_DAY
    visits: list[Visit] = []
    blocked: list[Blocked] = []
    for bench in benches:
        for found in visits_of(bench, first, last):
            (visits if isinstance(found, Visit) else blocked).append(found)  # type: ignore[arg-type]
    spans = {visit: _weeks(visit, first, last) for visit in visits}
    worst = overload(list(spans.values()), weeks, capacity)
    level = min(capacity, least_capacity(list(spans.values()), weeks))
    placed, unplaced = _earliest_deadline_first(spans, weeks, level)
    monday = _monday(first)
    return UpkeepPlan(
        tuple(Placed(visit, monday + timedelta(weeks=week)) for visit, week in placed),
        tuple(unplaced),
        tuple(sorted(blocked, key=lambda one: (one.due_on, one.tag))),
        worst
        and Overload(monday + timedelta(weeks=worst[0]), monday + timedelta(weeks=worst[1]), *worst[2:]),
        level,
    )


def visits_of(bench: Bench, first: date, last: date) -> list[Visit | Blocked]:
    """The visits an item needs from the first day on so that nothing falls due in use through the last day.

    What falls due inside a window is done in the pause before it. What is overdue already stays in, so it
    may be done at any time before the next window. What can wait until after the last day is left out.
    """
    engaged = _merged(bench.engaged)
    pauses: defaultdict[tuple[date, str | None], list[tuple[Due, date]]] = defaultdict(list)
    found: list[Visit | Blocked] = []
    for due in bench.dues:
        window = next((e for e in engaged if e.first_day <= due.due_on < e.last_day), None)
        if window and window.first_day <= first <= due.due_on:
            found.append(Blocked(bench.tag, (due.task,), due.due_on, window.job, window.last_day))
            continue
        start, end, before = _pause(due, window, engaged, first)
        by = min(end, last if due.due_on < max(start, first) else due.due_on)
        if start <= by <= last:
            pauses[start, before].append((due, by))
    for (start, before), dues in pauses.items():
        tasks = tuple(sorted(due.task for due, _ in dues))
        due_on = min(due.due_on for due, _ in dues)
        found.append(Visit(bench.tag, tasks, start, min(by for _, by in dues), due_on, before))
    return found


def _pause(
    due: Due, window: Engaged | None, engaged: Sequence[Engaged], first: date
) -> tuple[date, date, str | None]:
    """The first and the last day of the pause in which it is to be done, and the job that comes after it."""
    if window and due.due_on >= first:
        ahead: Engaged | None = window
    else:
        # Not before the plan begins; and what is engaged then, or through its last good day, comes in first.
        at = max(due.due_on, first)
        at = next((e.last_day + ONE_DAY for e in engaged if e.first_day <= at <= e.last_day), at)
        ahead = next((e for e in engaged if e.first_day > at), None)
    earlier = [e for e in engaged if ahead is None or e.first_day < ahead.first_day]
    start = max(first, earlier[-1].last_day + ONE_DAY) if earlier else first
    return (start, ahead.first_day - ONE_DAY, ahead.job) if ahead else (start, _NEVER, None)


def _merged(engaged: Iterable[Engaged]) -> list[Engaged]:
    """Windows by start, those that overlap or follow at once as one: there is no day between them."""
    found: list[Engaged] = []
    for one in sorted(engaged, key=lambda e: (e.first_day, e.last_day)):
        if found and one.first_day <= found[-1].last_day + ONE_DAY:
            before = found.pop()
            found.append(Engaged(before.first_day, max(before.last_day, one.last_day), before.job))
        else:
            found.append(one)
    return found


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _weeks(visit: Visit, first: date, last: date) -> tuple[int, int]:
    """The first and the last week of the plan that hold a day on which the visit can be."""
    monday = _monday(first)
    start, end = max(visit.first_day, first), min(visit.last_day, last)
    return (start - monday).days // 7, (end - monday).days // 7


_Span = tuple[int, int]


def least_capacity(spans: Sequence[_Span], weeks: int) -> int:
    """The fewest places a week with which every span gets one: the fullest stretch of weeks decides."""
    stretches = ((a, b) for a in range(weeks) for b in range(a, weeks))
    return max((-(-_inside(spans, a, b) // (b - a + 1)) for a, b in stretches), default=0)


def overload(spans: Sequence[_Span], weeks: int, capacity: int) -> tuple[int, int, int, int] | None:
    """The weeks a to b with most spans above their places: (a, b, spans, places); of equals the fewest."""
    found = [
        (places - held, b - a, a, b, held, places)
        for a in range(weeks)
        for b in range(a, weeks)
        if (held := _inside(spans, a, b)) > (places := capacity * (b - a + 1))
    ]
    return min(found)[2:] if found else None


def _inside(spans: Sequence[_Span], first: int, last: int) -> int:
    return sum(first <= start and end <= last for start, end in spans)


def _earliest_deadline_first(
    spans: dict[Visit, _Span], weeks: int, places: int
) -> tuple[list[tuple[Visit, int]], list[Visit]]:
    """Fill week after week with the visits whose last day comes first; what misses its day has no place."""
    waiting = sorted(spans, key=lambda one: (spans[one][1], one.last_day, one.tag))
    placed: list[tuple[Visit, int]] = []
    for week in range(weeks):
        now = [one for one in waiting if spans[one][0] <= week <= spans[one][1]][:places]
        placed += [(one, week) for one in now]
        waiting = [one for one in waiting if one not in now]
    return placed, waiting
