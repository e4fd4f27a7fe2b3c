"""Days, months and weeks: against ISO 8601 and the calendar."""

import calendar
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.measures.times import (
    add_months,
    iso_week,
    last_day,
    monday_of,
    next_week,
    previous_week,
    read_day,
    read_span,
    read_week,
    show_day,
)
from fleet.refusals import Unreadable

days = st.dates(min_value=date(1970, 1, 1), max_value=date(2100, 12, 31))


# --- Months -------------------------------------------------------------------------------------------------


def test_month_ends_are_counted_from_the_anchor() -> None:
    anchor = date(2026, 1, 31)
    assert [add_months(anchor, months) for months in (1, 2, 3, 12)] == [
        date(2026, 2, 28),
        date(2026, 3, 31),
        date(2026, 4, 30),
        date(2027, 1, 31),
    ]


def test_a_leap_day_falls_back_to_the_last_of_february() -> None:
    assert add_months(date(2024, 2, 29), 12) == date(2025, 2, 28)
    assert add_months(date(2024, 2, 29), 48) == date(2028, 2, 29)
    assert add_months(date(2028, 1, 30), 1) == date(2028, 2, 29)
    # 2100 is not a leap year by the Gregorian rule.
    assert add_months(date(2096, 2, 29), 48) == date(2100, 2, 28)


def test_months_go_back_as_well() -> None:
    assert add_months(date(2026, 3, 31), -1) == date(2026, 2, 28)
    assert add_months(date(2026, 1, 15), -13) == date(2024, 12, 15)


@given(days, st.integers(min_value=-240, max_value=240))
def test_months_land_in_their_month_on_the_same_or_its_last_day(anchor: date, months: int) -> None:
    landed = add_months(anchor, months)
    assert (landed.year * 12 + landed.month) - (anchor.year * 12 + anchor.month) == months
    assert landed.day == min(anchor.day, calendar.monthrange(landed.year, landed.month)[1])


@given(days, st.integers(min_value=0, max_value=120))
def test_a_later_anchor_is_never_due_earlier(anchor: date, months: int) -> None:
    assert add_months(anchor, months) <= add_months(anchor + timedelta(days=1), months)


# --- Weeks --------------------------------------------------------------------------------------------------


# The well-known corner cases of ISO 8601 weeks around New Year (from memory).
@pytest.mark.parametrize(
    ("day", "week"),
    [
        (date(2005, 1, 1), "2004-W53"),
        (date(2005, 12, 31), "2005-W52"),
        (date(2006, 1, 1), "2005-W52"),
        (date(2007, 1, 1), "2007-W01"),
        (date(2008, 12, 29), "2009-W01"),
        (date(2010, 1, 3), "2009-W53"),
        (date(2026, 12, 31), "2026-W53"),
        (date(2027, 1, 3), "2026-W53"),
        (date(2027, 1, 4), "2027-W01"),
    ],
)
def test_the_week_of_a_day_around_new_year(day: date, week: str) -> None:
    assert iso_week(day) == week
    assert monday_of(week) <= day <= monday_of(week) + timedelta(days=6)


@given(days)
def test_the_week_is_what_the_c_library_prints(day: date) -> None:
    assert iso_week(day) == day.strftime("%G-W%V")


@given(days.filter(lambda day: 1971 <= day.year <= 2099))
def test_weeks_follow_each_other_without_gap_or_repeat(day: date) -> None:
    week = iso_week(day)
    assert read_week(f" {week} ") == week
    assert previous_week(next_week(week)) == week
    assert monday_of(next_week(week)) - monday_of(week) == timedelta(weeks=1)


def test_a_year_has_the_weeks_it_has_and_no_more() -> None:
    assert read_week("2026-W53") == "2026-W53"
    with pytest.raises(Unreadable, match="the weeks of 2025 are W01 to W52"):
        read_week("2025-W53")
    with pytest.raises(Unreadable, match="the weeks of 2026 are W01 to W53"):
        read_week("2026-W00")


@pytest.mark.parametrize(
    "text", ["2026-w07", "2026-W7", "2026W07", "26-W07", "week 7", "", "2026-W07-1", "\uff12026-W07"]
)
def test_a_week_is_written_one_way(text: str) -> None:
    with pytest.raises(Unreadable, match="write it like 2026-W07"):
        read_week(text)


# --- Days ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text", ["2026-03-27", "27 Mar 2026", "27 march 2026", "27 MARCH 2026", "  27  mar  2026 "]
)
def test_a_day_is_read_as_iso_or_in_words(text: str) -> None:
    assert read_day(text) == date(2026, 3, 27)


@given(days)
def test_a_day_shown_is_the_day_read(day: date) -> None:
    assert read_day(show_day(day)) == day
    assert read_day(day.isoformat()) == day


def test_a_day_is_shown_without_a_leading_nought() -> None:
    assert show_day(date(2026, 3, 7)) == "7 Mar 2026"


@pytest.mark.parametrize(
    ("text", "instead"),
    [
        ("03/04/26", "write 2026-04-03 for 3 Apr 2026 or 2026-03-04 for 4 Mar 2026."),
        ("03/04/2026", "write 2026-04-03 for 3 Apr 2026 or 2026-03-04 for 4 Mar 2026."),
        ("3.4.2026", "write 2026-04-03 for 3 Apr 2026 or 2026-03-04 for 4 Mar 2026."),
        ("5-5-2026", "write 2026-05-05 for 5 May 2026."),
        ("27/3/2026", "write 2026-03-27 for 27 Mar 2026."),
        ("31.31.2026", "write it like 2026-03-27 or 27 Mar 2026."),
        ("2026-02-30", "30 February 2026 does not exist; February 2026 has 28 days."),
        ("29 Feb 2026", "29 February 2026 does not exist"),
        ("31 April 2026", "April 2026 has 30 days"),
        ("0 May 2026", "0 May 2026 does not exist"),
        ("2026-13-01", "no month from 1 to 12"),
        ("27 Mar 26", "write it like"),
        ("27 Mrz 2026", "write it like"),
        ("March 27, 2026", "write it like"),
        ("2026-3-27", "write it like"),
        ("2026-03-27 07:00", "write it like"),
        ("today", "write it like"),
        ("", "write it like"),
        ("2206-03-27", "check the year"),
        ("1926-03-27", "check the year"),
        ("\uff12026-03-27", "write it like"),
    ],
)
def test_a_day_that_could_be_another_is_refused_with_what_to_write(text: str, instead: str) -> None:
    with pytest.raises(Unreadable) as caught:
        read_day(text)
    assert instead in str(caught.value)


def test_a_span_is_days_or_weeks() -> None:
    assert [read_span(text) for text in ("30d", "6w", " 6 W ", "0d")] == [30, 42, 42, 0]
    for text in ("3 months", "1y", "30", "d", "-3d", "1.5w", "99999d", ""):
        with pytest.raises(Unreadable, match="write it like 30d or 6w"):
            read_span(text)


@pytest.mark.parametrize(
    ("ends_at", "day"),
    [
        (datetime(2026, 5, 14, 0, 0, tzinfo=ZoneInfo("America/Chicago")), date(2026, 5, 13)),
        (datetime(2026, 5, 14, 0, 0, 0, 1, tzinfo=ZoneInfo("America/Chicago")), date(2026, 5, 14)),
        (datetime(2026, 5, 14, 23, 59, tzinfo=ZoneInfo("Pacific/Auckland")), date(2026, 5, 14)),
        # Chile leaves out the hour after midnight, so this is the first instant of its day.
        (datetime(2026, 9, 6, 1, 0, tzinfo=ZoneInfo("America/Santiago")), date(2026, 9, 5)),
    ],
)
def test_the_last_day_is_that_of_the_last_instant(ends_at: datetime, day: date) -> None:
    assert last_day(ends_at) == day
