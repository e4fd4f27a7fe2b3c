"""Month ends, leap days and last days, of everything that runs out; held against tables and other calendars.

Months are checked against ``dateutil.relativedelta``, which counts them by itself (its documentation gives
31 January + 1 month = 28 February), and against tables worked out by hand from the Gregorian rule: a year
divisible by 4 is a leap year, but of the hundreds only those divisible by 400.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from fleet.rules.competence import Held, standing
from fleet.rules.due import (
    PACE_DAYS,
    Clocks,
    LastDone,
    Meter,
    Noted,
    due_of,
    is_overdue,
    limited,
    undone_by,
)
from fleet.rules.hoses import bulk_too_old, storage_ends_on
from fleet.rules.upkeep import CountsFrom

NEW = Meter(0, 0)
A_DAY = timedelta(days=1)
days = st.dates(date(1990, 1, 1), date(2060, 12, 31))


def due_on(months: int, done_on: date | None, **known: object) -> date:
    facts: dict[str, object] = {
        "received_on": date(2020, 1, 1),
        "assembled_on": None,
        "meter": NEW,
        "recent": NEW,
        "today": date(2026, 5, 13),
    }
    clocks = known.pop("clocks", Clocks(months, None, None))
    last = LastDone(done_on, NEW) if done_on else None
    found = due_of(clocks, last=last, **(facts | known)).due_on  # type: ignore[arg-type]
    assert found is not None
    return found


# --- Month ends and leap days -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("anchor", "expected"),
    [
        # From the anchor each time: a chain of single months would stay on the 28th for ever.
        ("2026-01-31", ["2026-02-28", "2026-03-31", "2026-04-30", "2026-05-31", "2026-06-30", "2026-07-31"]),
        ("2028-01-31", ["2028-02-29", "2028-03-31", "2028-04-30", "2028-05-31", "2028-06-30", "2028-07-31"]),
        ("2026-01-30", ["2026-02-28", "2026-03-30", "2026-04-30", "2026-05-30", "2026-06-30", "2026-07-30"]),
        ("2026-10-31", ["2026-11-30", "2026-12-31", "2027-01-31", "2027-02-28", "2027-03-31", "2027-04-30"]),
    ],
)
def test_every_month_is_counted_from_the_day_it_was_done(anchor: str, expected: list[str]) -> None:
    found = [due_on(months, date.fromisoformat(anchor)) for months in range(1, 7)]
    assert found == [date.fromisoformat(day) for day in expected]


@pytest.mark.parametrize(
    ("months", "expected"),
    [
        (12, "2025-02-28"),
        (24, "2026-02-28"),
        (36, "2027-02-28"),
        (48, "2028-02-29"),
        (6, "2024-08-29"),
        (1, "2024-03-29"),
        (72, "2030-02-28"),
    ],
)
def test_what_was_done_on_a_leap_day(months: int, expected: str) -> None:
    assert due_on(months, date(2024, 2, 29)) == date.fromisoformat(expected)


@pytest.mark.parametrize(
    ("done_on", "months", "expected"),
    [
        ("2000-02-29", 1200, "2100-02-28"),  # 2100 is none
        ("1996-02-29", 48, "2000-02-29"),  # 2000 is one
        ("2025-02-28", 36, "2028-02-28"),  # and the 28th does not become the 29th
        ("2027-12-31", 2, "2028-02-29"),
    ],
)
def test_the_hundreds_among_the_leap_years(done_on: str, months: int, expected: str) -> None:
    assert due_on(months, date.fromisoformat(done_on)) == date.fromisoformat(expected)


@given(days, st.integers(1, 240))
def test_another_calendar_counts_the_same(done_on: date, months: int) -> None:
    assert due_on(months, done_on) == done_on + relativedelta(months=months)


@given(days, st.integers(1, 240))
def test_the_last_day_is_a_good_day_and_the_next_is_none(done_on: date, months: int) -> None:
    last = done_on + relativedelta(months=months)
    found = due_on(months, done_on)
    assert [is_overdue(found, None, last + n * A_DAY) for n in (-1, 0, 1)] == [False, False, True]


# --- Hoses --------------------------------------------------------------------------------------------------

LIFE = Clocks(72, None, None, CountsFrom.ASSEMBLY)


@pytest.mark.parametrize(
    ("assembled_on", "ends_on"),
    [
        ("2020-02-29", "2026-02-28"),
        ("2022-02-28", "2028-02-28"),
        ("2018-08-31", "2024-08-31"),
        ("2024-02-29", "2030-02-28"),
    ],
)
def test_six_years_of_a_hose_end_on_the_day_it_was_assembled(assembled_on: str, ends_on: str) -> None:
    """Six years from assembly: DGUV Regel 113-020 and DIN 20066, as quoted in ``fleet.rules.hoses``."""
    ends = date.fromisoformat(ends_on)
    found = due_on(0, ends - A_DAY, clocks=LIFE, assembled_on=date.fromisoformat(assembled_on))
    assert found == ends
    assert not is_overdue(found, None, ends)
    assert is_overdue(found, None, ends + A_DAY)


def test_a_limit_of_its_own_shortens_the_life_of_one_hose() -> None:
    own = limited(LIFE, 18, None, None)
    assert due_on(0, None, clocks=own, assembled_on=date(2024, 8, 31)) == date(2026, 2, 28)
    assert due_on(0, None, clocks=LIFE, assembled_on=date(2024, 8, 31)) == date(2030, 8, 31)


@pytest.mark.parametrize(
    ("assembled_on", "months", "ends_on"),
    [
        ("2024-02-29", None, "2026-02-28"),
        ("2026-02-28", None, "2028-02-28"),
        ("2024-08-31", 6, "2025-02-28"),
        ("2023-08-31", 6, "2024-02-29"),
    ],
)
def test_the_last_day_in_store(assembled_on: str, months: int | None, ends_on: str) -> None:
    """Two years of storage, unless the maker says otherwise: the same sources."""
    assert storage_ends_on(date.fromisoformat(assembled_on), months) == date.fromisoformat(ends_on)


@pytest.mark.parametrize(
    ("bulk_made_on", "last_good", "months"),
    [
        ("2020-02-29", "2024-02-29", None),
        ("2021-02-28", "2025-02-28", None),
        ("2022-08-31", "2026-08-31", None),
        ("2022-08-31", "2023-02-28", 6),
    ],
)
def test_bulk_hose_is_made_up_at_the_latest_on_its_last_day(
    bulk_made_on: str, last_good: str, months: int | None
) -> None:
    """Four years for bulk hose: the same sources."""
    made, last = date.fromisoformat(bulk_made_on), date.fromisoformat(last_good)
    assert not bulk_too_old(made, last, months)
    assert bulk_too_old(made, last + A_DAY, months)
    assert not bulk_too_old(made, made, months)
    assert bulk_too_old(made, made - A_DAY, months)


# --- Whichever comes first ----------------------------------------------------------------------------------


def test_a_meter_that_will_run_out_after_the_leap_day_counts_that_day() -> None:
    """91 cycles in 182 days are half a cycle a day: the 30 left last 60 days, over 29 February 2028."""
    clocks, today = Clocks(12, 100, None), date(2028, 1, 31)
    found = due_of(
        clocks,
        last=LastDone(date(2027, 2, 28), NEW),
        received_on=date(2020, 1, 1),
        assembled_on=None,
        meter=Meter(70, 0),
        recent=Meter(PACE_DAYS // 2, 0),
        today=today,
    )
    # January 31 + 29 days = 29 February, + 31 more = 31 March.
    assert (found.due_on, found.forecast_on) == (date(2028, 2, 28), date(2028, 3, 31))


def test_an_own_limit_of_cycles_and_a_month_end_stand_side_by_side() -> None:
    own = limited(Clocks(1, 1000, None), None, 50, None)
    found = due_of(
        own,
        last=LastDone(date(2026, 1, 31), Meter(400, 0)),
        received_on=date(2020, 1, 1),
        assembled_on=None,
        meter=Meter(449, 0),
        recent=NEW,
        today=date(2026, 2, 28),
    )
    assert (found.due_on, found.due_cycles, found.use_left) == (date(2026, 2, 28), 450, 1 / 50)
    assert not is_overdue(found.due_on, found.use_left, date(2026, 2, 28))


# --- A repair and the task it undoes, on one day ------------------------------------------------------------

LEAP_DAY = date(2028, 2, 29)
MORNING = datetime(2028, 2, 29, 14, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("repaired", "done", "undone"),
    [
        (MORNING, None, True),
        (MORNING, MORNING + timedelta(hours=1), False),
        (MORNING + timedelta(hours=1), MORNING, True),
        (MORNING, MORNING, True),  # in one instant, as while a clock is set back
        (MORNING, MORNING + timedelta(microseconds=1), False),
    ],
)
def test_on_one_day_the_later_entry_speaks(
    repaired: datetime, done: datetime | None, *, undone: bool
) -> None:
    last = Noted(LEAP_DAY, done) if done else None
    assert undone_by(Noted(LEAP_DAY, repaired), last, CountsFrom.DONE) is undone


def test_what_a_repair_undid_on_a_leap_day_was_due_the_day_before() -> None:
    found = due_on(12, LEAP_DAY, undone_on=LEAP_DAY)
    assert found == date(2028, 2, 28)
    assert is_overdue(found, None, LEAP_DAY)


def test_what_was_never_done_on_an_item_received_on_the_first_of_march() -> None:
    assert due_on(12, None, received_on=date(2028, 3, 1)) == LEAP_DAY
    assert due_on(12, None, received_on=date(2026, 3, 1)) == date(2026, 2, 28)


# --- Competences --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("last", [LEAP_DAY, date(2026, 12, 31), date(2026, 11, 1)])
def test_a_competence_counts_through_its_last_day(last: date) -> None:
    held = Held(1, "Kim Keeper", "inspection", last)
    assert [held.counts(last + n * A_DAY) for n in (-1, 0, 1)] == [True, True, False]
    shown = [standing(last, ended=False, today=last + n * A_DAY) for n in (-61, -60, 0, 1)]
    assert shown == ["current", "ends soon", "ends soon", "expired"]
