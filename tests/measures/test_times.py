"""Days, weeks and instants: against ISO 8601, the calendar, and the time zones."""

import calendar
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.measures.times import (
    add_months,
    as_utc,
    iso_week,
    last_letter_due,
    local_day,
    monday_of,
    next_week,
    previous_week,
    read_day,
    read_instant,
    read_moment,
    read_span,
    read_week,
    show_day,
    start_of_day,
    write_instant,
    zone,
)
from fleet.refusals import Unreadable

BERLIN = ZoneInfo("Europe/Berlin")
CHICAGO = ZoneInfo("America/Chicago")
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")
CAIRO = ZoneInfo("Africa/Cairo")
ZONES = [
    BERLIN,
    CHICAGO,
    LORD_HOWE,
    CAIRO,
    ZoneInfo("America/Havana"),
    ZoneInfo("Asia/Kathmandu"),
    ZoneInfo("UTC"),
]

days = st.dates(min_value=date(1970, 1, 1), max_value=date(2100, 12, 31))
instants = st.datetimes(
    min_value=datetime(1990, 1, 1),  # noqa: DTZ001  Hypothesis adds the zone.
    max_value=datetime(2037, 1, 1),  # noqa: DTZ001  Hypothesis adds the zone.
    timezones=st.just(UTC),
)


def utc(text: str) -> datetime:
    return datetime.fromisoformat(f"{text}+00:00")


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


# --- Instants and zones -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "end", "moment"),
    [
        ("2026-05-04 07:00", False, "2026-05-04T05:00"),
        ("2026-05-04T07:00", False, "2026-05-04T05:00"),
        ("4 May 2026 07:00", True, "2026-05-04T05:00"),
        ("2026-05-04", False, "2026-05-03T22:00"),
        ("2026-05-04", True, "2026-05-04T22:00"),
        ("4 may 2026", True, "2026-05-04T22:00"),
        ("2026-12-31", True, "2026-12-31T23:00"),
        ("2026-03-29", True, "2026-03-29T22:00"),
    ],
)
def test_a_moment_is_the_wall_clock_of_the_site(text: str, end: bool, moment: str) -> None:
    assert read_moment(text, BERLIN, end=end) == utc(moment)


@pytest.mark.parametrize(
    ("text", "site", "instead"),
    [
        ("2026-03-29 02:30", BERLIN, "write 03:30"),
        ("2026-03-08 02:00", CHICAGO, "write 03:00"),
        ("2026-10-04 02:15", LORD_HOWE, "write 02:45"),
        ("2026-04-24 00:30", CAIRO, "write 01:30"),
    ],
)
def test_a_time_that_the_clocks_skip_is_refused(text: str, site: ZoneInfo, instead: str) -> None:
    with pytest.raises(Unreadable, match="does not exist") as caught:
        read_moment(text, site)
    assert instead in str(caught.value)


@pytest.mark.parametrize(
    ("text", "site", "moment"),
    [
        ("2026-10-25 02:30", BERLIN, "2026-10-25T00:30"),
        ("2026-11-01 01:30", CHICAGO, "2026-11-01T06:30"),
        ("2026-04-05 01:45", LORD_HOWE, "2026-04-04T14:45"),
    ],
)
def test_a_time_that_comes_twice_is_the_first(text: str, site: ZoneInfo, moment: str) -> None:
    assert read_moment(text, site) == utc(moment)


@pytest.mark.parametrize(
    "text", ["2026-05-04 24:00", "2026-05-04 7:00", "2026-05-04 07:60", "2026-05-04 7h", "07:00"]
)
def test_a_time_is_written_one_way(text: str) -> None:
    with pytest.raises(Unreadable, match="write it like 2026-05-04"):
        read_moment(text, BERLIN)


@given(instants, st.sampled_from(ZONES))
def test_a_wall_clock_read_back_is_never_later_than_the_instant(instant: datetime, site: ZoneInfo) -> None:
    # Only in the hour that comes twice is it earlier, and then it shows the same time.
    shown = instant.astimezone(site)
    read = read_moment(f"{shown:%Y-%m-%d %H:%M}", site)
    assert read == instant.replace(second=0, microsecond=0) or (shown.fold and read < instant)
    assert f"{read.astimezone(site):%Y-%m-%d %H:%M}" == f"{shown:%Y-%m-%d %H:%M}"


@given(days.filter(lambda day: 1990 <= day.year <= 2037), st.sampled_from(ZONES))
def test_a_day_starts_when_the_day_before_is_over(day: date, site: ZoneInfo) -> None:
    start = start_of_day(day, site)
    assert start.tzinfo is UTC
    assert local_day(start, site) == day
    assert local_day(start - timedelta(microseconds=1), site) == day - timedelta(days=1)


def test_a_day_without_midnight_starts_at_one() -> None:
    # Egypt's clocks go from 00:00 to 01:00 on the last Friday of April (IANA time zone database).
    assert start_of_day(date(2026, 4, 24), CAIRO) == utc("2026-04-23T22:00")
    assert start_of_day(date(2026, 4, 24), CAIRO).astimezone(CAIRO).hour == 1


def test_zones_are_found_by_name_and_slips_are_refused() -> None:
    assert zone("Europe/Berlin").key == "Europe/Berlin"
    with pytest.raises(Unreadable, match="write one like Europe/Berlin"):
        zone("Europe/Berlim")
    for name in (
        "",
        "America",
        "../UTC",
        "/etc/localtime",
        "localtime",
        "right/Europe/Berlin",
        "\0",
        "x" * 999,
    ):
        with pytest.raises(Unreadable, match="is not a time zone"):
            zone(name)


@given(st.datetimes(timezones=st.sampled_from([UTC, *ZONES])))
def test_an_instant_written_is_the_instant_read(instant: datetime) -> None:
    try:
        expected = instant.astimezone(UTC)
    except OverflowError:
        return
    text = write_instant(instant)
    assert len(text) == len("2026-05-04T05:00:00.000000Z")
    assert read_instant(text) == expected


@given(instants, instants)
def test_written_instants_sort_like_time(one: datetime, other: datetime) -> None:
    assert (one < other) == (write_instant(one) < write_instant(other))


def test_an_instant_has_one_form_only() -> None:
    assert write_instant(datetime(2026, 5, 4, 7, tzinfo=BERLIN)) == "2026-05-04T05:00:00.000000Z"
    for text in (
        "2026-05-04T05:00:00Z",
        "2026-05-04T05:00:00.000000+00:00",
        "2026-02-30T05:00:00.000000Z",
        "",
    ):
        with pytest.raises(Unreadable, match="is not an instant"):
            read_instant(text)


def test_a_naive_instant_is_a_slip_of_the_program() -> None:
    naive = datetime(2026, 5, 4, 7)  # noqa: DTZ001  That is the point.
    for use in (as_utc, write_instant, lambda instant: local_day(instant, BERLIN)):
        with pytest.raises(ValueError, match="without a time zone"):
            use(naive)
    with pytest.raises(ValueError, match="without a time zone"):
        last_letter_due(naive, BERLIN, 0, 7)
