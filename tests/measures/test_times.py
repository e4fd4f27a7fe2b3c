"""Days, weeks and instants: against ISO 8601, the calendar, and the time zones."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.measures.times import (
    as_utc,
    last_letter_due,
    local_day,
    read_instant,
    read_moment,
    show_hours,
    show_moment,
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


@pytest.mark.parametrize(
    ("minutes", "shown"),
    [(0, "0"), (30, "0.5"), (60, "1"), (5999, "99.9"), (6000, "100"), (60_050, "1,000.8")],
)
def test_hours_of_a_meter_are_cut_off_to_tenths(minutes: int, shown: str) -> None:
    assert show_hours(minutes) == shown


def test_an_instant_is_shown_in_the_sites_own_time() -> None:
    # Berlin is at UTC+2 from the last Sunday of March on.
    assert show_moment(datetime(2026, 3, 29, 12, 5, tzinfo=UTC), BERLIN) == "29 Mar 2026 14:05"
