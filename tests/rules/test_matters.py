"""Who is told of a matter at once, and when what can wait does wait."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import product
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz
from hypothesis import given
from hypothesis import strategies as st

from fleet.rules.matters import (
    Matter,
    MatterKind,
    Staff,
    Telling,
    conflict_name,
    is_quiet,
    level_after,
    minute_name,
    next_working_day,
    tellings,
)
from fleet.rules.readers import Reader
from fleet.rules.register import Role

DAY = date(2026, 5, 13)
ALL = tuple(MatterKind)
OUT = (MatterKind.HOLD, MatterKind.LATE)
RESERVED = (MatterKind.AGAINST, MatterKind.EXPIRES, MatterKind.READY, MatterKind.ENDED)


def person(number: int, badge: str, *roles: str, address: str | None = "") -> Reader:
    own = f"{badge.lower()}@tool-room.example" if address == "" else address
    return Reader(number, badge, f"Name of {badge}", own, frozenset(roles))


KEEPER, PLANNER, SAFETY = person(1, "K1", "keeper"), person(2, "P1", "planner"), person(3, "S1", Role.SAFETY)
FITTER = person(4, "F1")
SPARE = Reader(0, "spare", "North tool room", "north@tool-room.example", frozenset())


def staff(*people: Reader, instead: dict[int, int] | None = None) -> Staff:
    return Staff({one.person_id: one for one in people}, SPARE, instead or {})


EVERYBODY = staff(KEEPER, PLANNER, SAFETY, FITTER)


def matter(kind: MatterKind, level: int = 0, owners: tuple[int, ...] = ()) -> Matter:
    return Matter(kind, 12, 1, "10438-8", "hose", "Cover cut", "shelf", DAY, owners, "Fin", level)


def told(
    kind: MatterKind, *, by: Staff = EVERYBODY, level: int = 0, owners: tuple[int, ...] = (), had: str = ""
) -> list[str]:
    return [one.reader.badge for one in tellings(matter(kind, level, owners), by, had.split())]


# --- Who is told --------------------------------------------------------------------------------------------


def test_a_hold_on_something_out_is_told_to_keepers_safety_officers_and_whoever_has_it() -> None:
    found = list(tellings(matter(MatterKind.HOLD, owners=(4,)), EVERYBODY, ()))

    assert [(one.reader.badge, one.own, one.level) for one in found] == [
        ("F1", True, 0),
        ("K1", False, 0),
        ("S1", False, 0),
    ]


def test_whoever_has_it_without_an_address_is_not_told_and_nobody_is_in_their_place() -> None:
    by = staff(KEEPER, SAFETY, replace(FITTER, address=None))
    assert told(MatterKind.HOLD, by=by, owners=(4,)) == ["K1", "S1"]


def test_a_borrower_alone_is_not_enough_for_a_hold() -> None:
    assert told(MatterKind.HOLD, by=staff(FITTER, PLANNER), owners=(4,)) == ["F1", "spare"]


@pytest.mark.parametrize("kind", [MatterKind.RECALL, MatterKind.FAILED])
def test_recalls_and_failures_are_for_keepers_and_safety_officers(kind: MatterKind) -> None:
    assert told(kind) == ["K1", "S1"]


def test_what_is_late_goes_to_keepers_then_safety_officers_then_the_spare_address() -> None:
    assert told(MatterKind.LATE) == ["K1"]
    assert told(MatterKind.LATE, level=1, had="K1") == ["S1"]
    assert told(MatterKind.LATE, level=2, had="K1 S1") == ["spare"]


def test_after_a_standstill_every_level_is_told_at_once() -> None:
    found = list(tellings(matter(MatterKind.LATE, level=2), EVERYBODY, ()))
    assert [(one.level, one.reader.badge) for one in found] == [(0, "K1"), (1, "S1"), (2, "spare")]


def test_a_hold_that_stays_out_reaches_the_spare_address_and_nobody_twice() -> None:
    assert told(MatterKind.HOLD, level=1, had="F1 K1 S1", owners=(4,)) == []
    assert told(MatterKind.HOLD, level=2, had="F1 K1 S1", owners=(4,)) == ["spare"]


def test_a_keeper_who_is_a_safety_officer_too_is_told_once() -> None:
    both = staff(person(1, "K1", "keeper", Role.SAFETY))
    assert told(MatterKind.LATE, by=both, level=2) == ["K1", "spare"]


@pytest.mark.parametrize("kind", RESERVED)
def test_whoever_reserved_it_is_told_and_otherwise_the_planners(kind: MatterKind) -> None:
    assert told(kind, owners=(1,)) == ["K1"]
    assert told(kind, owners=(99,)) == ["P1"]  # Has left.
    assert told(kind, owners=(4,)) == ["P1"]  # Has no role at the site any more.
    mute = staff(replace(KEEPER, address="kim at home"), PLANNER)
    assert told(kind, by=mute, owners=(1,)) == ["P1"]


@pytest.mark.parametrize("kind", ALL)
def test_where_nobody_can_be_told_the_spare_address_is(kind: MatterKind) -> None:
    assert told(kind, by=staff()) == ["spare"]
    mute = staff(*(replace(one, address=None) for one in (KEEPER, PLANNER, SAFETY)))
    assert told(kind, by=mute, level=2 if kind in OUT else 0) == ["spare"]


def test_a_deputy_is_told_instead_and_for_whom_is_said() -> None:
    deputy = person(7, "K2")
    away = staff(KEEPER, SAFETY, deputy, instead={1: 7})
    (one,) = tellings(matter(MatterKind.LATE), away, ())
    assert (one.reader.badge, one.instead_of) == ("K2", "Name of K1")

    back = staff(KEEPER, SAFETY, deputy)
    assert told(MatterKind.LATE, by=back, had="K2") == ["K1"]


def test_a_deputy_who_cannot_be_written_to_stands_in_for_nobody() -> None:
    away = staff(KEEPER, person(7, "K2", address=None), instead={1: 7})
    assert told(MatterKind.LATE, by=away) == ["K1"]


def test_whoever_has_the_item_in_hand_is_told_also_when_away() -> None:
    away = staff(KEEPER, SAFETY, FITTER, person(7, "F2"), instead={4: 7})
    assert told(MatterKind.HOLD, by=away, owners=(4,)) == ["F1", "K1", "S1"]


ROLES = st.frozensets(st.sampled_from([role.value for role in Role]))
PEOPLE = st.lists(st.tuples(ROLES, st.sampled_from([None, "", "no address"])), max_size=6)


@given(
    kind=st.sampled_from(ALL),
    level=st.integers(0, 2),
    people=PEOPLE,
    owners=st.sets(st.integers(1, 7)),
    instead=st.dictionaries(st.integers(1, 6), st.integers(1, 6)),
    had=st.sets(st.sampled_from(["B1", "B2", "B3", "B4", "B5", "B6", "spare"])),
)
def test_nobody_is_told_twice_and_silence_is_not_possible(
    *,
    kind: MatterKind,
    level: int,
    people: list[tuple[frozenset[str], str | None]],
    owners: set[int],
    instead: dict[int, int],
    had: set[str],
) -> None:
    level = level if kind in OUT else 0
    crew = [person(at, f"B{at}", *roles, address=to) for at, (roles, to) in enumerate(people, start=1)]
    one = matter(kind, level, tuple(sorted(owners)))
    found: list[Telling] = list(tellings(one, staff(*crew, instead=instead), had))
    badges = [telling.reader.badge for telling in found]

    assert len(set(badges)) == len(badges)
    assert not set(badges) & had
    assert all(telling.reader.address and "@" in telling.reader.address for telling in found)
    assert had or badges
    # A second look, when those letters are written, finds nobody left.
    assert list(tellings(one, staff(*crew, instead=instead), had | set(badges))) == []


# --- When -------------------------------------------------------------------------------------------------


def test_it_is_passed_on_after_seven_and_fourteen_days() -> None:
    assert [level_after(days) for days in (0, 6, 7, 13, 14, 400)] == [0, 0, 1, 1, 2, 2]


def test_what_hurts_goes_at_night_and_what_is_passed_on_waits_for_the_morning() -> None:
    urgent = [MatterKind.RECALL, MatterKind.HOLD, MatterKind.FAILED]
    assert [kind for kind in ALL if not Telling(matter(kind), 0, KEEPER).can_wait] == urgent
    assert all(Telling(matter(kind), 1, KEEPER).can_wait for kind in ALL)


HOURS = [(20, 6), (6, 20), (0, 0), (13, 13), (22, 2), (1, 3), (2, 3), (23, 0), (0, 23), (0, 1)]
# Clocks that change by an hour, by half an hour, at midnight, and not at all (IANA time zone database).
ZONES = [
    "America/Chicago",
    "Europe/Berlin",
    "Australia/Lord_Howe",
    "America/Havana",
    "Asia/Kolkata",
    "Pacific/Chatham",
]


@pytest.mark.parametrize("there", ZONES)
def test_quiet_hours_go_by_the_clock_on_the_wall_also_when_it_is_changed(there: str) -> None:
    """Against python-dateutil, which reads the zones by itself, in the months in which clocks are changed."""
    wall = tz.gettz(there)
    quiet = {hours: {(hours[0] + step) % 24 for step in range((hours[1] - hours[0]) % 24)} for hours in HOURS}
    for month, step in product((3, 4, 9, 10, 11), range(30 * 32)):
        now = datetime(2026, month, 1, tzinfo=UTC) + timedelta(minutes=45 * step)
        hour = now.astimezone(wall).hour
        assert all(is_quiet(now, ZoneInfo(there), *hours) == (hour in quiet[hours]) for hours in HOURS)


def test_the_half_hour_that_comes_twice_on_lord_howe_is_quiet_twice() -> None:
    """5 April 2026, 02:00 becomes 01:30 at 15:00 UTC the day before (IANA time zone database)."""
    there, change = ZoneInfo("Australia/Lord_Howe"), datetime(2026, 4, 4, 15, 0, tzinfo=UTC)
    asked = [change + timedelta(minutes=minutes) for minutes in (-1, 0, 29, 30)]

    assert [f"{at.astimezone(there):%H:%M}" for at in asked] == ["01:59", "01:30", "01:59", "02:00"]
    assert [is_quiet(at, there, 22, 2) for at in asked] == [True, True, True, False]


def test_an_hour_that_is_skipped_is_no_quiet_hour() -> None:
    """8 March 2026 in Chicago: 01:59 is followed by 03:00 at 08:00 UTC (IANA time zone database)."""
    there, change = ZoneInfo("America/Chicago"), datetime(2026, 3, 8, 8, 0, tzinfo=UTC)
    night = [change + timedelta(minutes=minutes) for minutes in range(-60, 120)]
    assert not any(is_quiet(at, there, 2, 3) for at in night)


def test_the_next_working_day_passes_over_the_week_end() -> None:
    friday = date(2026, 5, 15)
    assert next_working_day(friday, "12345") == date(2026, 5, 18)
    assert next_working_day(friday, "123456") == date(2026, 5, 16)
    assert next_working_day(friday, "5") == date(2026, 5, 22)
    for day, days in product(range(14), ("1", "67", "1234567")):
        today = friday + timedelta(days=day)
        found = next_working_day(today, days)
        assert today < found <= today + timedelta(days=7)
        assert str(found.isoweekday()) in days


# --- Names --------------------------------------------------------------------------------------------------


def test_a_minute_is_named_by_its_week_and_day_in_utc() -> None:
    """ISO 8601: 1 January 2027 is the Friday of week 53 of 2026."""
    assert minute_name(datetime(2026, 5, 13, 7, 14, 59, tzinfo=UTC)) == "2026-W20-3T0714"
    assert minute_name(datetime(2027, 1, 1, 0, 30, tzinfo=ZoneInfo("Europe/Berlin"))) == "2026-W53-4T2330"


def test_a_matter_is_known_by_its_kind_number_and_detail() -> None:
    assert matter(MatterKind.HOLD).key == "hold 12"
    assert replace(matter(MatterKind.AGAINST), detail="0a1b").key == "against 12 0a1b"


def test_each_sentence_is_another_matter() -> None:
    early, late = (f"Calibration falls due {day} Jun 2026, inside the window." for day in (3, 11))
    assert conflict_name("due", early) == conflict_name("due", early)
    assert len({conflict_name("due", early), conflict_name("due", late), conflict_name("out", early)}) == 3
