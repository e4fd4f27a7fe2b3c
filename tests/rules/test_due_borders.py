"""Due days at their borders: what was never done, meters that just ran out, repairs that undo a task."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from fleet.rules.due import (
    FORECAST_DAYS,
    PACE_DAYS,
    Clocks,
    LastDone,
    Meter,
    Noted,
    due_of,
    limited,
    meter_stand,
    undone_by,
)
from fleet.rules.upkeep import CountsFrom

TODAY = date(2026, 5, 13)
RECEIVED = date(2026, 5, 4)
NEW = Meter(0, 0)
DONE = LastDone(date(2026, 1, 31), Meter(400, 70))
ALL = Clocks(6, 1000, 600)


def test_a_task_that_was_done_counts_each_clock_from_that_day() -> None:
    due = due_of(
        ALL, last=DONE, received_on=RECEIVED, assembled_on=None, meter=Meter(500, 90), recent=NEW, today=TODAY
    )
    assert (due.last_done_on, due.due_on) == (date(2026, 1, 31), date(2026, 7, 31))
    assert (due.due_cycles, due.due_minutes) == (1400, 670)
    assert due.use_left == pytest.approx(0.9)
    assert due.forecast_on is None


def test_a_task_that_was_never_done_was_due_the_day_before_the_item_came() -> None:
    due = due_of(ALL, last=None, received_on=RECEIVED, assembled_on=None, meter=NEW, recent=NEW, today=TODAY)
    assert (due.last_done_on, due.due_on) == (None, date(2026, 5, 3))
    assert (due.due_cycles, due.due_minutes) == (1000, 600)


def test_a_task_without_a_clock_has_no_due_of_that_clock() -> None:
    due = due_of(
        Clocks(None, None, None),
        last=DONE,
        received_on=RECEIVED,
        assembled_on=None,
        meter=NEW,
        recent=NEW,
        today=TODAY,
    )
    assert (due.due_on, due.due_cycles, due.due_minutes, due.use_left) == (None, None, None, None)


def stand(limit: int | None, every: int | None, now: int, used: int) -> tuple[float | None, date | None]:
    """The same figures on either meter give the same answer."""
    by_cycles = meter_stand(
        Clocks(None, every, None), limit, None, meter=Meter(now, 0), recent=Meter(used, 0), today=TODAY
    )
    by_minutes = meter_stand(
        Clocks(None, None, every), None, limit, meter=Meter(0, now), recent=Meter(0, used), today=TODAY
    )
    assert by_cycles == by_minutes
    return by_cycles


@pytest.mark.parametrize("used", [0, 1, 500])
@pytest.mark.parametrize("over", [0, 1, 300])
def test_a_meter_that_ran_out_ran_out_by_today_however_fast_it_runs(over: int, used: int) -> None:
    assert stand(1000, 500, 1000 + over, used) == (-over / 500, TODAY)


def test_one_stroke_in_half_a_year_is_a_pace_too() -> None:
    left, forecast_on = stand(1000, 500, 990, 1)
    assert left == pytest.approx(0.02)
    assert forecast_on == TODAY + timedelta(days=10 * PACE_DAYS)


def test_a_forecast_of_ten_years_is_still_one_and_a_day_more_is_none() -> None:
    assert (PACE_DAYS, FORECAST_DAYS) == (182, 3650)
    _, ten_years = stand(FORECAST_DAYS, FORECAST_DAYS, 0, PACE_DAYS)
    assert ten_years == TODAY + timedelta(days=FORECAST_DAYS)
    assert stand(FORECAST_DAYS + 1, FORECAST_DAYS + 1, 0, PACE_DAYS)[1] is None


@pytest.mark.parametrize(("limit", "every"), [(None, 500), (1000, None), (None, None)])
def test_a_clock_half_on_record_has_no_stand(limit: int | None, every: int | None) -> None:
    assert stand(limit, every, 10, 10) == (None, None)


def test_an_item_may_have_limits_of_its_own() -> None:
    assert limited(ALL, None, None, None) == ALL
    assert limited(ALL, 3, None, None) == Clocks(3, 1000, 600)
    assert limited(ALL, None, 250, None) == Clocks(6, 250, 600)
    assert limited(ALL, None, None, 90) == Clocks(6, 1000, 90)
    life = Clocks(72, None, None, CountsFrom.ASSEMBLY)
    assert limited(life, 24, None, None) == Clocks(24, None, None, CountsFrom.ASSEMBLY)


# --- Repairs ------------------------------------------------------------------------------------------------

MORNING = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
NOON = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)
REPAIR = Noted(date(2026, 5, 4), NOON)


@pytest.mark.parametrize(
    ("done", "undone"),
    [
        (None, True),
        (Noted(date(2026, 5, 3), NOON), True),
        (Noted(date(2026, 5, 3), NOON + timedelta(days=9)), True),
        (Noted(date(2026, 5, 4), MORNING), True),
        (Noted(date(2026, 5, 4), NOON), True),
        (Noted(date(2026, 5, 4), NOON + timedelta(minutes=1)), False),
        (Noted(date(2026, 5, 5), MORNING), False),
    ],
)
def test_a_repair_undoes_what_was_done_before_it(done: Noted | None, undone: bool) -> None:
    assert undone_by(REPAIR, done, CountsFrom.DONE) is undone
    assert undone_by(REPAIR, done, CountsFrom.ASSEMBLY) is False


@pytest.mark.parametrize(
    ("clocks", "due_on"),
    [
        (Clocks(6, None, None), date(2026, 5, 3)),
        (Clocks(None, 1000, None), date(2026, 5, 3)),
        (Clocks(1, None, None), date(2026, 2, 28)),
    ],
)
def test_what_a_repair_undid_was_due_the_day_before_it(clocks: Clocks, due_on: date) -> None:
    due = due_of(
        clocks,
        last=DONE,
        received_on=RECEIVED,
        assembled_on=None,
        meter=NEW,
        recent=NEW,
        today=TODAY,
        undone_on=date(2026, 5, 4),
    )
    assert due.due_on == due_on
