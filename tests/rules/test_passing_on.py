"""When letters are passed on. Common practice, no source; the days are those of a printed calendar."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.rules.letters import LetterState
from fleet.rules.passing_on import Link, Step, Why, next_working_noon, open_chains, to_pass_on

FIRST = datetime(2020, 1, 1, tzinfo=UTC)
CHICAGO, BERLIN, DUBAI = ZoneInfo("America/Chicago"), ZoneInfo("Europe/Berlin"), ZoneInfo("Asia/Dubai")
WEEK = "12345"


@pytest.mark.parametrize(
    ("sent", "zone", "days", "noon"),
    [
        # 13 May 2026 is a Wednesday; summer time in Chicago is five hours behind UTC.
        ("2026-05-13T11:00", CHICAGO, WEEK, "2026-05-14T17:00"),
        # Late in the evening at the site is the next day in UTC, but still the same day there.
        ("2026-05-14T04:30", CHICAGO, WEEK, "2026-05-14T17:00"),
        # From a Friday to the Monday.
        ("2026-05-15T11:00", CHICAGO, WEEK, "2026-05-18T17:00"),
        ("2026-05-16T11:00", CHICAGO, WEEK, "2026-05-18T17:00"),
        ("2026-05-17T11:00", CHICAGO, WEEK, "2026-05-18T17:00"),
        # A working week from Sunday to Thursday; Dubai is four hours ahead and has no summer time.
        ("2026-05-14T06:00", DUBAI, "12347", "2026-05-17T08:00"),
        ("2026-05-17T06:00", DUBAI, "12347", "2026-05-18T08:00"),
        # One working day a week: a week later.
        ("2026-05-13T06:00", DUBAI, "3", "2026-05-20T08:00"),
        # Clocks go forward in Germany on 29 March 2026 and back on 25 October, both Sundays.
        ("2026-03-27T06:00", BERLIN, WEEK, "2026-03-30T10:00"),
        ("2026-03-28T06:00", BERLIN, "7", "2026-03-29T10:00"),
        ("2026-10-23T06:00", BERLIN, WEEK, "2026-10-26T11:00"),
        ("2026-10-24T06:00", BERLIN, "7", "2026-10-25T11:00"),
        # And in Chicago forward on 8 March, back on 1 November.
        ("2026-03-06T12:00", CHICAGO, WEEK, "2026-03-09T17:00"),
        ("2026-10-30T12:00", CHICAGO, WEEK, "2026-11-02T18:00"),
    ],
)
def test_noon_of_the_next_working_day_at_the_site(sent: str, zone: ZoneInfo, days: str, noon: str) -> None:
    found = next_working_noon(datetime.fromisoformat(sent).replace(tzinfo=UTC), zone, days)
    assert found == datetime.fromisoformat(noon).replace(tzinfo=UTC)


@given(
    sent=st.integers(0, 20 * 365 * 24 * 60).map(lambda minutes: FIRST + timedelta(minutes=minutes)),
    zone=st.sampled_from([CHICAGO, BERLIN, DUBAI, ZoneInfo("Asia/Kathmandu"), ZoneInfo("Pacific/Auckland")]),
    days=st.sets(st.sampled_from("1234567"), min_size=1),
)
def test_it_is_noon_on_a_working_day_and_no_working_day_before_it_was_left_out(
    sent: datetime, zone: ZoneInfo, days: set[str]
) -> None:
    there = next_working_noon(sent, zone, "".join(sorted(days))).astimezone(zone)
    assert (there.hour, there.minute) == (12, 0)
    assert str(there.isoweekday()) in days
    day = sent.astimezone(zone).date() + timedelta(days=1)
    while day < there.date():
        assert str(day.isoweekday()) not in days
        day += timedelta(days=1)
    assert day == there.date()


def test_without_any_working_day_it_is_the_next_day() -> None:
    sent = datetime(2026, 5, 15, 11, tzinfo=UTC)
    assert next_working_noon(sent, CHICAGO, "0").date() == date(2026, 5, 16)


NOON = datetime(2026, 5, 19, 17, tzinfo=UTC)
KIM = Link(
    id=1,
    forwards_id=None,
    kind="weekly",
    site_id=1,
    week="2026-W21",
    person_id=1,
    address="kim@tool-room.example",
    sha256="a",
    state=LetterState.SENT,
    sent_at=NOON - timedelta(hours=30),
    last_answer="250 OK",
    set_aside=False,
    read=False,
    until=NOON,
)
PAT = replace(KIM, id=2, forwards_id=1, person_id=2, address="pat@tool-room.example", sha256="b")
SPARE = replace(KIM, id=3, forwards_id=2, person_id=None, address="north@tool-room.example", sha256="c")


def passed(*letters: Link, now: datetime = NOON) -> list[tuple[int, str]]:
    return [(step.letter.id, step.why) for step in to_pass_on(letters, now)]


def test_a_letter_is_passed_on_at_noon_and_not_a_moment_before() -> None:
    assert passed(KIM, now=NOON - timedelta(microseconds=1)) == []
    assert passed(KIM) == [(1, "not acknowledged")]
    assert to_pass_on([KIM], NOON) == [Step((KIM,), Why.UNREAD)]


def test_each_letter_of_a_chain_is_passed_on_once_and_what_is_nobodys_goes_no_further() -> None:
    assert passed(KIM, PAT) == [(2, "not acknowledged")]
    assert to_pass_on([KIM, PAT], NOON)[0].chain == (PAT, KIM)
    assert passed(KIM, PAT, SPARE) == []


@pytest.mark.parametrize("read", [0, 1, 2])
def test_whoever_reads_one_letter_of_a_chain_closes_all_of_it(read: int) -> None:
    letters = [replace(one, read=number == read) for number, one in enumerate((KIM, PAT, SPARE))]
    assert open_chains(letters) == []
    assert passed(*letters[: read + 1]) == []


def test_another_persons_letter_of_the_same_week_stays_open() -> None:
    sam = replace(KIM, id=9, person_id=3, address="sam@tool-room.example")
    assert passed(replace(KIM, read=True), sam) == [(9, "not acknowledged")]


def test_a_newer_weekly_letter_overtakes_an_older_one_and_its_chain() -> None:
    newer = replace(KIM, id=7, week="2026-W22", state=LetterState.WRITTEN, sent_at=None, until=None)
    assert passed(KIM, newer) == []
    assert passed(KIM, PAT, newer) == []
    # A letter at once is another matter, and so is the letter of another person.
    assert passed(replace(KIM, kind="at once"), newer) == [(1, "not acknowledged")]
    assert passed(KIM, replace(newer, person_id=5)) == [(1, "not acknowledged")]
    # What a deputy gets for somebody else overtakes none of their own.
    own = replace(KIM, id=6, week="2026-W20", person_id=2, address="pat@tool-room.example", sha256="d")
    assert passed(KIM, PAT, own) == [(2, "not acknowledged"), (6, "not acknowledged")]


def test_of_several_copies_only_the_last_is_passed_on_and_reading_any_closes_all() -> None:
    copy = replace(KIM, id=8)
    assert passed(KIM, copy) == [(8, "not acknowledged")]
    assert passed(replace(KIM, read=True), copy) == []
    assert passed(KIM, replace(copy, read=True)) == []


def test_a_lost_letter_is_passed_on_at_once_but_not_one_that_was_set_aside() -> None:
    lost = replace(KIM, state=LetterState.UNDELIVERABLE, sent_at=None, until=None)
    early = NOON - timedelta(days=1)
    assert passed(lost, now=early) == [(1, "undeliverable")]
    assert passed(replace(lost, set_aside=True), now=early) == []
    assert passed(replace(lost, person_id=None), now=early) == []
    assert passed(KIM, replace(PAT, state=LetterState.UNDELIVERABLE), now=early) == [(2, "undeliverable")]


@pytest.mark.parametrize("state", [LetterState.WRITTEN, LetterState.TAKEN])
def test_a_letter_on_its_way_is_not_passed_on(state: LetterState) -> None:
    assert passed(replace(KIM, state=state, sent_at=None, until=None)) == []
