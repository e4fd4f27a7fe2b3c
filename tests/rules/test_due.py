"""When something is due: month ends, leap days, meters, whichever comes first; more use is never later."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fleet.rules.due import (
    FORECAST_DAYS,
    PACE_DAYS,
    Clocks,
    Due,
    LastDone,
    Meter,
    due_of,
    first_of,
    is_overdue,
    meter_stand,
)
from fleet.rules.upkeep import CountsFrom

TODAY = date(2026, 5, 13)
NEW = Meter(0, 0)
YEARLY = Clocks(12, None, None)

days = st.dates(date(1990, 1, 1), date(2050, 12, 31))
months = st.integers(1, 240)
meters = st.builds(Meter, st.integers(0, 40_000), st.integers(0, 40_000))
limits = st.none() | st.integers(1, 20_000)
meter_clocks = st.builds(Clocks, st.none(), limits, limits)
any_clocks = st.builds(Clocks, st.none() | months, limits, limits, st.sampled_from(CountsFrom))


def due(clocks: Clocks, last: LastDone | None = None, **other: object) -> Due:
    known: dict[str, object] = {
        "received_on": date(2020, 1, 1),
        "assembled_on": None,
        "meter": NEW,
        "recent": NEW,
        "today": TODAY,
    }
    return due_of(clocks, last=last, **(known | other))  # type: ignore[arg-type]


# --- By the calendar ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("done_on", "every", "due_on"),
    [
        ("2025-05-13", 12, "2026-05-13"),
        ("2026-01-31", 1, "2026-02-28"),
        ("2024-01-31", 1, "2024-02-29"),
        ("2025-08-31", 6, "2026-02-28"),
        ("2026-03-31", 3, "2026-06-30"),
        ("2024-02-29", 12, "2025-02-28"),
        ("2024-02-29", 48, "2028-02-29"),
        # 2100 is no leap year.
        ("2096-02-29", 48, "2100-02-28"),
    ],
)
def test_a_month_too_short_for_the_day_ends_on_its_last(done_on: str, every: int, due_on: str) -> None:
    last = LastDone(date.fromisoformat(done_on), NEW)
    assert due(Clocks(every, None, None), last).due_on == date.fromisoformat(due_on)


@given(days, months)
def test_the_due_day_is_the_same_day_of_its_month_or_the_last(done_on: date, every: int) -> None:
    """Held against the calendar of NumPy, which counts months by itself."""
    month = np.datetime64(done_on, "M") + every
    first: date = month.astype("datetime64[D]").item()
    last: date = ((month + 1).astype("datetime64[D]") - 1).item()

    found = due(Clocks(every, None, None), LastDone(done_on, NEW)).due_on

    assert found == min(first + timedelta(days=done_on.day - 1), last)


@given(days, months)
def test_a_thing_is_usable_through_the_day_it_is_due(done_on: date, every: int) -> None:
    due_on = due(Clocks(every, None, None), LastDone(done_on, NEW)).due_on
    assert due_on is not None
    assert not is_overdue(due_on, None, due_on)
    assert is_overdue(due_on, None, due_on + timedelta(days=1))


@given(days, st.integers(0, 4000))
def test_what_was_never_done_is_overdue_from_the_first_day(received_on: date, later: int) -> None:
    found = due(YEARLY, received_on=received_on)

    assert found.last_done_on is None
    assert is_overdue(found.due_on, found.use_left, received_on + timedelta(days=later))


# --- A hose counts from its assembly ------------------------------------------------------------------------


HOSE_LIFE = Clocks(72, None, None, CountsFrom.ASSEMBLY)


def test_a_hose_that_lay_two_years_on_a_shelf_has_four_left() -> None:
    """Six years, of which at most two in store (DIN 20066, from memory)."""
    found = due(HOSE_LIFE, assembled_on=date(2022, 5, 13), received_on=date(2024, 5, 13))
    assert found.due_on == date(2028, 5, 13)


@given(days, days, st.none() | days)
def test_nothing_done_to_a_hose_makes_it_younger(
    assembled_on: date, received_on: date, done_on: date | None
) -> None:
    last = LastDone(done_on, NEW) if done_on else None
    as_new = due(HOSE_LIFE, assembled_on=assembled_on)

    found = due(HOSE_LIFE, last, assembled_on=assembled_on, received_on=received_on)

    assert found.due_on == as_new.due_on == due(Clocks(72, None, None), LastDone(assembled_on, NEW)).due_on


@given(days, st.none() | days)
def test_a_hose_of_unknown_age_has_no_life_left(received_on: date, done_on: date | None) -> None:
    last = LastDone(done_on, NEW) if done_on else None
    found = due(HOSE_LIFE, last, assembled_on=None, received_on=received_on)
    assert is_overdue(found.due_on, found.use_left, received_on)


# --- By use -------------------------------------------------------------------------------------------------


def test_a_meter_counts_from_what_it_read_when_the_task_was_done() -> None:
    clocks, last = Clocks(None, 5000, 600), LastDone(date(2026, 1, 1), Meter(1200, 90))

    found = due(clocks, last, meter=Meter(3700, 540))

    assert (found.due_cycles, found.due_minutes) == (6200, 690)
    # Half of the cycles is left, and a quarter of the minutes: the smaller share speaks.
    assert found.use_left == 0.25


def test_the_meter_of_what_was_never_done_counts_from_zero() -> None:
    found = due(Clocks(None, 5000, None), meter=Meter(4000, 0))
    assert (found.due_on, found.due_cycles, found.use_left) == (None, 5000, 0.2)


def test_the_last_cycle_of_a_meter_is_used_up() -> None:
    clocks = Clocks(None, 100, None)
    assert not is_overdue(None, due(clocks, meter=Meter(99, 0)).use_left, TODAY)
    assert is_overdue(None, due(clocks, meter=Meter(100, 0)).use_left, TODAY)


@given(meter_clocks, meters, meters)
def test_the_share_left_is_the_smallest_of_the_clocks(clocks: Clocks, since: Meter, meter: Meter) -> None:
    found = due(clocks, LastDone(TODAY, since), meter=meter)

    shares = [
        1 - Fraction(now - then, every)
        for every, then, now in (
            (clocks.every_cycles, since.cycles, meter.cycles),
            (clocks.every_minutes, since.minutes, meter.minutes),
        )
        if every
    ]
    assert found.use_left == (float(min(shares)) if shares else None)


def exact_days(clocks: Clocks, since: Meter, meter: Meter, recent: Meter) -> Fraction | None:
    """How many days the fuller meter lasts at the pace of the last half year; None when it stands still."""
    lasting = []
    for every, then, now, used in (
        (clocks.every_cycles, since.cycles, meter.cycles, recent.cycles),
        (clocks.every_minutes, since.minutes, meter.minutes, recent.minutes),
    ):
        left = then + every - now if every else None
        if left is not None and left <= 0:
            lasting.append(Fraction(0))
        elif left is not None and used:
            lasting.append(left / Fraction(used, PACE_DAYS))
    return min(lasting, default=None)


@given(meter_clocks, meters, meters, meters)
def test_a_forecast_is_never_later_than_the_pace_says(
    clocks: Clocks, since: Meter, meter: Meter, recent: Meter
) -> None:
    found = due(clocks, LastDone(TODAY, since), meter=meter, recent=recent).forecast_on

    exact = exact_days(clocks, since, meter, recent)
    if exact is None or exact > FORECAST_DAYS:
        assert found is None
    else:
        assert found is not None
        assert 0 <= exact - (found - TODAY).days < 1


def test_fifty_cycles_in_half_a_year_leave_half_a_year_for_the_next_fifty() -> None:
    left, forecast_on = meter_stand(
        Clocks(None, 100, None), 100, None, meter=Meter(50, 0), recent=Meter(50, 0), today=TODAY
    )
    assert (left, forecast_on) == (0.5, TODAY + timedelta(days=PACE_DAYS))


def test_a_meter_that_stands_still_has_no_forecast() -> None:
    assert due(Clocks(None, 100, 60), meter=Meter(99, 59)).forecast_on is None


@given(any_clocks, st.none() | st.builds(LastDone, days, meters), days, st.none() | days, meters, meters)
def test_no_clock_of_a_kind_no_due_of_that_kind(
    clocks: Clocks,
    last: LastDone | None,
    received_on: date,
    assembled_on: date | None,
    meter: Meter,
    recent: Meter,
) -> None:
    found = due(clocks, last, received_on=received_on, assembled_on=assembled_on, meter=meter, recent=recent)

    assert (found.due_on is None) == (clocks.every_months is None)
    assert (found.due_cycles is None) == (clocks.every_cycles is None)
    assert (found.due_minutes is None) == (clocks.every_minutes is None)
    by_use = clocks.every_cycles is not None or clocks.every_minutes is not None
    assert (found.use_left is None) == (not by_use)
    assert by_use or found.forecast_on is None


# --- Whichever comes first ----------------------------------------------------------------------------------


@given(st.none() | days, st.none() | days)
def test_the_clock_that_comes_first_is_the_one_that_counts(
    due_on: date | None, forecast_on: date | None
) -> None:
    first = first_of(due_on, forecast_on)
    known = {day for day in (due_on, forecast_on) if day is not None}
    assert (first in known and all(first <= day for day in known)) if first else not known


@given(st.none() | days, st.none() | st.floats(-2, 1), days)
def test_one_clock_that_ran_out_is_enough(due_on: date | None, use_left: float | None, today: date) -> None:
    by_calendar, by_use = is_overdue(due_on, None, today), is_overdue(None, use_left, today)
    assert is_overdue(due_on, use_left, today) == (by_calendar or by_use)


def test_nothing_on_record_is_not_overdue() -> None:
    assert not is_overdue(None, None, TODAY)


# --- More use, or a later day, never makes anything better --------------------------------------------------


def stand(found: Due) -> tuple[float, date]:
    """What is left and the first day; what has no end counts as endless."""
    left = found.use_left if found.use_left is not None else float("inf")
    return left, first_of(found.due_on, found.forecast_on) or date.max


@given(any_clocks, st.none() | st.builds(LastDone, days, meters), meters, meters, meters)
def test_more_use_never_makes_anything_due_later(
    clocks: Clocks, last: LastDone | None, meter: Meter, recent: Meter, more: Meter
) -> None:
    def at(use: Meter) -> Due:
        now = Meter(meter.cycles + use.cycles, meter.minutes + use.minutes)
        late = Meter(recent.cycles + use.cycles, recent.minutes + use.minutes)
        return due(clocks, last, meter=now, recent=late, assembled_on=date(2022, 2, 28))

    before, after = at(NEW), at(more)

    assert stand(after)[0] <= stand(before)[0]
    assert stand(after)[1] <= stand(before)[1]
    if is_overdue(before.due_on, before.use_left, TODAY):
        assert is_overdue(after.due_on, after.use_left, TODAY)


@given(any_clocks, st.none() | st.builds(LastDone, days, meters), meters, st.integers(0, 5000))
def test_what_is_overdue_stays_so_until_somebody_does_it(
    clocks: Clocks, last: LastDone | None, meter: Meter, later: int
) -> None:
    found = due(clocks, last, meter=meter)
    assume(is_overdue(found.due_on, found.use_left, TODAY))
    assert is_overdue(found.due_on, found.use_left, TODAY + timedelta(days=later))


@given(any_clocks, days, meters, st.integers(0, 2000))
def test_done_later_is_due_later(clocks: Clocks, done_on: date, since: Meter, later: int) -> None:
    once = due(clocks, LastDone(done_on, since), assembled_on=date(2022, 2, 28), meter=since)
    again = due(
        clocks,
        LastDone(done_on + timedelta(days=later), replace(since, cycles=since.cycles + later)),
        assembled_on=date(2022, 2, 28),
        meter=since,
    )

    assert (again.due_on or date.max) >= (once.due_on or date.max)
    assert (again.due_cycles or 0) >= (once.due_cycles or 0)
