"""The moment of the weekly letter, against a walk over the time zones by the quarter of an hour."""

from bisect import bisect_left
from datetime import UTC, datetime, timedelta
from itertools import accumulate, pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.measures.times import last_letter_due, next_week

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

instants = st.datetimes(
    min_value=datetime(1990, 1, 1),  # noqa: DTZ001  Hypothesis adds the zone.
    max_value=datetime(2037, 1, 1),  # noqa: DTZ001  Hypothesis adds the zone.
    timezones=st.just(UTC),
)


def utc(text: str) -> datetime:
    return datetime.fromisoformat(f"{text}+00:00")


def test_the_monday_letter_is_due_from_its_hour_on() -> None:
    seven = utc("2026-05-04T05:00")
    assert last_letter_due(seven, BERLIN, 0, 7) == ("2026-W19", seven)
    before = ("2026-W18", seven - timedelta(weeks=1))
    assert last_letter_due(seven - timedelta(microseconds=1), BERLIN, 0, 7) == before


def test_a_letter_hour_that_the_clocks_skip_still_comes_once() -> None:
    # Germany 2026: clocks skip 02:00 to 03:00 on Sunday 29 March (IANA time zone database).
    week, moment = last_letter_due(utc("2026-03-29T12:00"), BERLIN, 6, 2)
    assert (week, moment) == ("2026-W13", utc("2026-03-29T01:00"))


def test_a_letter_hour_that_comes_twice_is_the_first() -> None:
    week, moment = last_letter_due(utc("2026-10-25T12:00"), BERLIN, 6, 2)
    assert (week, moment) == ("2026-W43", utc("2026-10-25T00:00"))


STEP = timedelta(minutes=15)
WALK = [utc("2025-12-20T00:00") + STEP * count for count in range(4 * 24 * 400)]


def walked_moments(walls: list[datetime], weekday: int, hour: int) -> list[tuple[str, datetime]]:
    """Answer each week with the first quarter of an hour at which the wall clock has reached its hour."""
    first = datetime(2025, 12, 29)  # noqa: DTZ001  The wall clock knows no zone.
    mondays = [first + timedelta(weeks=count) for count in range(54)]
    return [
        (monday.strftime("%G-W%V"), WALK[bisect_left(walls, monday + timedelta(days=weekday, hours=hour))])
        for monday in mondays
    ]


@pytest.mark.parametrize("site", ZONES, ids=lambda site: site.key)
def test_every_week_has_exactly_one_letter_whatever_the_clocks_do(site: ZoneInfo) -> None:
    # The furthest the wall clock has come so far: it jumps in spring and stands still in autumn.
    walls = list(accumulate((instant.astimezone(site).replace(tzinfo=None) for instant in WALK), max))
    for weekday in range(7):
        for hour in range(24):
            letters = walked_moments(walls, weekday, hour)
            for before, letter in pairwise(letters):
                assert last_letter_due(letter[1], site, weekday, hour) == letter
                assert last_letter_due(letter[1] - timedelta(microseconds=1), site, weekday, hour) == before


@given(
    instants,
    st.timedeltas(min_value=timedelta(0), max_value=timedelta(days=7)),
    st.sampled_from(
        [*ZONES, ZoneInfo("Pacific/Apia"), ZoneInfo("America/Asuncion"), ZoneInfo("Asia/Beirut")]
    ),
    st.integers(0, 6),
    st.integers(0, 23),
)
def test_the_due_week_never_goes_back_nor_skips(
    now: datetime, pause: timedelta, site: ZoneInfo, weekday: int, hour: int
) -> None:
    week, moment = last_letter_due(now, site, weekday, hour)
    later, later_moment = last_letter_due(now + pause, site, weekday, hour)
    assert moment <= now
    assert later in {week, next_week(week), next_week(next_week(week))}
    assert (later == week) == (later_moment == moment)


def test_the_day_that_samoa_left_out_still_had_its_letter() -> None:
    # Friday 30 December 2011 did not exist there (IANA time zone database).
    apia = ZoneInfo("Pacific/Apia")
    hours = [utc("2011-12-20T00:00") + timedelta(hours=count) for count in range(24 * 21)]
    weeks = [last_letter_due(now, apia, 4, 7)[0] for now in hours]
    assert list(dict.fromkeys(weeks)) == ["2011-W50", "2011-W51", "2011-W52", "2012-W01"]
    assert weeks == sorted(weeks)


def test_a_weekday_or_hour_that_does_not_exist_is_a_slip_of_the_program() -> None:
    with pytest.raises(ValueError, match="weekday"):
        last_letter_due(utc("2026-05-04T05:00"), BERLIN, 7, 7)
    with pytest.raises(ValueError, match="hour"):
        last_letter_due(utc("2026-05-04T05:00"), BERLIN, 0, 24)
