"""Who is told instead, who can be a deputy, and which days may be an absence. Common practice, no source."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.refusals import NotPossible
from fleet.rules.deputies import Colleague, Days, check_days, check_deputy, lacking, told_instead

NORTH, EAST = (1, "NORTH"), (2, "EAST")
KIM = Colleague(1, "K1", "Kim Keeper", "kim@tool-room.example", active=True, sites=(EAST, NORTH))


def colleague(
    *sites: tuple[int, str], address: str | None = "pat@tool-room.example", active: bool = True
) -> Colleague:
    return Colleague(2, "P1", "Pat Planner", address, active=active, sites=sites)


def test_the_deputy_of_somebody_away_is_told() -> None:
    assert told_instead({1: 2}, {2}) == {1: 2}
    assert told_instead({}, {2}) == {}


def test_a_deputy_who_is_away_too_is_followed_to_the_end() -> None:
    assert told_instead({1: 2, 2: 3, 3: 4}, {2, 3, 4}) == {1: 4, 2: 4, 3: 4}


def test_deputies_in_a_circle_leave_everybody_their_own_letters() -> None:
    assert told_instead({1: 2, 2: 1, 3: 2}, {1, 2, 3}) == {}


def test_a_deputy_who_cannot_be_reached_leaves_people_their_own_letters() -> None:
    assert told_instead({1: 2, 2: 3, 5: 6}, {2, 6}) == {5: 6}


@given(
    away=st.dictionaries(st.integers(1, 8), st.integers(1, 8), max_size=8),
    reachable=st.sets(st.integers(1, 8)),
)
def test_whoever_is_told_instead_is_there_and_can_be_reached(
    away: dict[int, int], reachable: set[int]
) -> None:
    found = told_instead(away, reachable)
    for person, last in found.items():
        assert person in away
        assert last not in away
        assert last in reachable
    # Walked step by step, at most as many steps as there are people, whoever is left out has no such end.
    for person in set(away) - set(found):
        last = person
        for _ in range(9):
            last = away.get(last, last)
        assert last in away or last not in reachable


@pytest.mark.parametrize(
    ("deputy", "said"),
    [
        (KIM, "cannot be their own deputy"),
        (colleague(NORTH, EAST, active=False), "no longer active"),
        (colleague(NORTH, EAST, address=None), "no e-mail address"),
        (colleague(NORTH, EAST, address="pat at home"), "no e-mail address"),
        (colleague(NORTH), "has no role at EAST"),
        (colleague(), "has no role at EAST and NORTH"),
    ],
)
def test_who_cannot_be_a_deputy_is_told_what_is_missing(deputy: Colleague, said: str) -> None:
    with pytest.raises(NotPossible, match=said):
        check_deputy(KIM, deputy)


def test_a_deputy_may_have_roles_at_more_sites() -> None:
    deputy = colleague(NORTH, EAST, (3, "WEST"))
    assert lacking(KIM, deputy) is None
    check_deputy(KIM, deputy)


TODAY = date(2026, 5, 13)
KNOWN = Days(date(2026, 6, 1), date(2026, 6, 5))


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        (date(2026, 5, 20), date(2026, 5, 19), "cannot end on 2026-05-19"),
        (date(2026, 5, 12), date(2026, 5, 20), "cannot begin on 2026-05-12.*today is 2026-05-13"),
        (date(2026, 5, 20), date(2026, 6, 1), "away from 2026-06-01 through 2026-06-05 already"),
        (date(2026, 6, 5), date(2026, 6, 5), "already"),
        (date(2026, 5, 20), date(2026, 7, 1), "already"),
        (date(2026, 6, 2), date(2026, 6, 3), "already"),
    ],
)
def test_days_that_cannot_be_an_absence(first: date, last: date, said: str) -> None:
    with pytest.raises(NotPossible, match=said):
        check_days(Days(first, last), [KNOWN], "Kim Keeper", TODAY)


def test_an_absence_may_begin_today_last_a_day_and_end_just_before_the_next() -> None:
    for first, last in ((TODAY, TODAY), (TODAY, date(2026, 5, 31)), (date(2026, 6, 6), date(2026, 6, 6))):
        check_days(Days(first, last), [KNOWN], "Kim Keeper", TODAY)
