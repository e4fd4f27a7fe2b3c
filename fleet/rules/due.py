"""When something is due: by calendar or by use, whichever comes first; and when a meter will run out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from fleet.measures.times import add_months
from fleet.rules.upkeep import CountsFrom

# Use is averaged over half a year: long enough to hold a shutdown, short enough to notice a change of work.
PACE_DAYS = 182
# A forecast further away than this says nothing: the calendar comes first anyway.
FORECAST_DAYS = 3650


@dataclass(frozen=True, slots=True)
class Clocks:
    """How a task counts: every so many months, cycles or pump minutes, whichever comes first."""

    every_months: int | None
    every_cycles: int | None
    every_minutes: int | None
    counts_from: str = CountsFrom.DONE


@dataclass(frozen=True, slots=True)
class Meter:
    """Cycles and pump minutes: a reading, or an amount of use."""

    cycles: int
    minutes: int


@dataclass(frozen=True, slots=True)
class LastDone:
    """When a task was last done, and what the meter read then."""

    day: date
    meter: Meter


@dataclass(frozen=True, slots=True)
class Noted:
    """On which day something was done, and when that was recorded."""

    day: date
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class Due:
    """When a task is due, by each clock. ``use_left`` is the smallest share left of a meter clock."""

    last_done_on: date | None
    due_on: date | None
    due_cycles: int | None
    due_minutes: int | None
    use_left: float | None
    forecast_on: date | None


def limited(clocks: Clocks, months: int | None, cycles: int | None, minutes: int | None) -> Clocks:
    """The clocks with an item's own limits before them; a clock for which it has none stays as it was."""
    return Clocks(
        months or clocks.every_months,
        cycles or clocks.every_cycles,
        minutes or clocks.every_minutes,
        clocks.counts_from,
    )


def undone_by(repair: Noted, done: Noted | None, counts_from: str) -> bool:
    """Whether a repair after which the task must be done again came after the task was last done.

    On one day the order of recording counts; of two recorded in one instant the repair came later, since
    nobody can show that it did not. What counts from assembly cannot be done again.
    """
    if counts_from == CountsFrom.ASSEMBLY:
        return False
    return done is None or (done.day, done.recorded_at) <= (repair.day, repair.recorded_at)


def due_of(
    clocks: Clocks,
    *,
    last: LastDone | None,
    received_on: date,
    assembled_on: date | None,
    meter: Meter,
    recent: Meter,
    today: date,
    undone_on: date | None = None,
) -> Due:
    """When the task is due.

    Never done means due the day before the item came: nothing may go out on a certificate nobody has seen,
    not even on its first day. Meters of an item on which the task was never done count from zero. ``recent``
    is the use of the last ``PACE_DAYS`` days. A repair that undid the task on ``undone_on`` makes it due the
    day before, also when it counts use alone: it is overdue from then on.
    """
    since = last.meter if last else Meter(0, 0)
    due_cycles = since.cycles + clocks.every_cycles if clocks.every_cycles else None
    due_minutes = since.minutes + clocks.every_minutes if clocks.every_minutes else None
    use_left, forecast_on = meter_stand(
        clocks, due_cycles, due_minutes, meter=meter, recent=recent, today=today
    )
    calendar = _calendar(clocks, last, received_on, assembled_on)
    undone = undone_on - timedelta(days=1) if undone_on else None
    return Due(
        last_done_on=last.day if last else None,
        due_on=first_of(calendar, undone),
        due_cycles=due_cycles,
        due_minutes=due_minutes,
        use_left=use_left,
        forecast_on=forecast_on,
    )


def _calendar(
    clocks: Clocks, last: LastDone | None, received_on: date, assembled_on: date | None
) -> date | None:
    if not clocks.every_months:
        return None
    done_on = last.day if last else None
    # Storage is inside the life; an unknown assembly date leaves no life at all.
    start = assembled_on if clocks.counts_from == CountsFrom.ASSEMBLY else done_on
    return add_months(start, clocks.every_months) if start else received_on - timedelta(days=1)


def meter_stand(
    clocks: Clocks,
    due_cycles: int | None,
    due_minutes: int | None,
    *,
    meter: Meter,
    recent: Meter,
    today: date,
) -> tuple[float | None, date | None]:
    """The smallest share left of the meter clocks (0 or less: used up), and the likely day it runs out."""
    shares: list[float] = []
    days: list[float] = []
    for limit, every, now, used in (
        (due_cycles, clocks.every_cycles, meter.cycles, recent.cycles),
        (due_minutes, clocks.every_minutes, meter.minutes, recent.minutes),
    ):
        if limit is None or not every:
            continue
        left = limit - now
        shares.append(left / every)
        if left <= 0:
            days.append(0)
        elif used > 0:
            days.append(left * PACE_DAYS / used)
    if not shares:
        return None, None
    near = [day for day in days if day <= FORECAST_DAYS]
    return min(shares), today + timedelta(days=int(min(near))) if near else None


def first_of(due_on: date | None, forecast_on: date | None) -> date | None:
    """The day of whichever clock comes first."""
    days = [day for day in (due_on, forecast_on) if day]
    return min(days) if days else None


def never_done(last_done_on: date | None, counts_from: str) -> bool:
    """Whether nobody ever did it; what counts from assembly is not done, it runs out."""
    return last_done_on is None and counts_from != CountsFrom.ASSEMBLY


def is_overdue(due_on: date | None, use_left: float | None, today: date) -> bool:
    """Past its day (a thing is usable through the day it is due), or its meter used up."""
    return (due_on is not None and due_on < today) or (use_left is not None and use_left <= 0)
