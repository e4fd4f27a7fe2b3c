"""Upkeep done ahead, so that nothing falls due in use: against brute force over small benches."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.rules.upkeep_plan import (
    Bench,
    Blocked,
    Due,
    Engaged,
    Overload,
    Placed,
    Visit,
    least_capacity,
    overload,
    plan_upkeep,
    visits_of,
)

MONDAY = date(2026, 5, 4)
LAST = MONDAY + timedelta(weeks=4) - timedelta(days=1)


def day(number: int) -> date:
    """Days counted from the Monday."""
    return MONDAY + timedelta(days=number)


def bench(*dues: int, engaged: tuple[tuple[int, int], ...] = (), tag: str = "1") -> Bench:
    works = tuple(Due(f"task {at}", day(due)) for at, due in enumerate(dues))
    return Bench(tag, works, tuple(Engaged(day(a), day(b), f"J-{a}") for a, b in engaged))


def only(found: list[Visit | Blocked]) -> Visit:
    (one,) = found
    assert isinstance(one, Visit)
    return one


# --- In which pause -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("due", "engaged", "first_day", "last_day", "before"),
    [
        (10, (), 0, 10, None),
        (10, ((8, 14),), 0, 7, "J-8"),
        (10, ((1, 3), (8, 14)), 4, 7, "J-8"),
        # It works through the day on which it falls due, so a window that ends then is no matter.
        (14, ((8, 14),), 15, 27, None),
        (14, ((8, 15),), 0, 7, "J-8"),
        (8, ((8, 14),), 0, 7, "J-8"),
        (7, ((8, 14),), 0, 7, "J-8"),
        (10, ((20, 24),), 0, 10, "J-20"),
        # Two windows without a day between them are one.
        (10, ((5, 7), (8, 14)), 0, 4, "J-5"),
        # Overdue already: it stays in, so it may be done at any time before it is wanted.
        (-3, (), 0, 27, None),
        (-3, ((9, 12),), 0, 8, "J-9"),
        (-3, ((-5, 2), (9, 12)), 3, 8, "J-9"),
    ],
)
def test_work_is_put_into_the_pause_before_it_is_wanted(
    due: int, engaged: tuple[tuple[int, int], ...], first_day: int, last_day: int, before: str | None
) -> None:
    visit = only(visits_of(bench(due, engaged=engaged), MONDAY, LAST))
    assert (visit.first_day, visit.last_day, visit.before) == (day(first_day), day(last_day), before)


def test_what_is_in_use_until_too_late_is_said() -> None:
    (found,) = visits_of(bench(5, engaged=((-2, 9),)), MONDAY, LAST)
    assert found == Blocked("1", ("task 0",), day(5), "J--2", day(9))


@pytest.mark.parametrize(("due", "engaged"), [(28, ()), (40, ((29, 50),)), (300, ())])
def test_what_can_wait_until_after_the_plan_is_left_out(
    due: int, engaged: tuple[tuple[int, int], ...]
) -> None:
    assert visits_of(bench(due, engaged=engaged), MONDAY, LAST) == []


def test_all_that_is_due_in_one_pause_is_one_visit() -> None:
    visit = only(visits_of(bench(10, 9, 11, engaged=((8, 14),)), MONDAY, LAST))
    assert (visit.tasks, visit.last_day, visit.due_on) == (("task 0", "task 1", "task 2"), day(7), day(9))
    assert len(visits_of(bench(3, 20, engaged=((8, 14),)), MONDAY, LAST)) == 2


@given(
    st.integers(-10, 40),
    st.lists(st.tuples(st.integers(-5, 30), st.integers(0, 10)), max_size=4),
)
def test_nothing_falls_due_in_use_once_the_visit_was_made(due: int, windows: list[tuple[int, int]]) -> None:
    """The oracle goes day by day: a visit is a day in no window, and from it on the work is good."""
    engaged = tuple((start, start + length) for start, length in windows)
    in_use = {at for a, b in engaged for at in range(a, b + 1)}
    one = bench(due, engaged=engaged)
    found = visits_of(one, MONDAY, LAST)
    expires_in_use = any(max(a, 0) <= 27 and a <= due < b and b >= 0 for a, b in _joined(engaged))
    if not found:
        assert due > 27 or not expires_in_use or _can_wait(due, engaged)
        return
    for visit in found:
        if isinstance(visit, Blocked):
            assert any(a <= 0 and due < b for a, b in _joined(engaged) if a <= due)
            continue
        days = range((visit.first_day - MONDAY).days, (visit.last_day - MONDAY).days + 1)
        assert len(days) > 0
        assert not in_use & set(days)
        assert days[0] >= 0
        assert days[-1] <= 27
        # Whichever day it is done on, before it there is no day in use on which it was overdue.
        assert not any(due < at < days[-1] for at in in_use if at >= max(0, due + 1) and due >= 0)


def _joined(engaged: tuple[tuple[int, int], ...]) -> list[tuple[int, int]]:
    found: list[tuple[int, int]] = []
    for start, end in sorted(engaged):
        if found and start <= found[-1][1] + 1:
            found[-1] = found[-1][0], max(found[-1][1], end)
        else:
            found.append((start, end))
    return found


def _can_wait(due: int, engaged: tuple[tuple[int, int], ...]) -> bool:
    return any(a - 1 > 27 and a <= due for a, _ in _joined(engaged)) or any(
        b + 1 > 27 and due <= b for _, b in _joined(engaged)
    )


# --- In which week ------------------------------------------------------------------------------------------

SPANS = st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)).map(sorted).map(tuple), max_size=7)


def brute(spans: list[tuple[int, int]], capacity: int) -> bool:
    """Try every week for every span."""
    choices = (range(start, end + 1) for start, end in spans)
    return any(max(map(chosen.count, chosen), default=0) <= capacity for chosen in product(*choices))


@given(SPANS, st.integers(1, 3))
def test_an_overload_is_found_exactly_when_there_is_no_plan(
    spans: list[tuple[int, int]], capacity: int
) -> None:
    found = overload(spans, 4, capacity)
    assert (found is None) is brute(spans, capacity)
    if found:
        first, last, held, places = found
        assert (
            held == sum(first <= a and b <= last for a, b in spans) > places == capacity * (last - first + 1)
        )


@given(SPANS)
def test_the_least_capacity_is_enough_and_one_less_is_not(spans: list[tuple[int, int]]) -> None:
    least = least_capacity(spans, 4)
    assert brute(spans, least)
    assert least == 0 or not brute(spans, least - 1)


@given(SPANS, st.integers(1, 3))
def test_every_visit_gets_a_week_of_its_own_span_when_there_is_a_plan(
    spans: list[tuple[int, int]], capacity: int
) -> None:
    """A visit of weeks a to b: engaged through the Sunday before a, due on the Sunday of b."""
    benches = [
        bench(7 * b + 6, engaged=((-7, 7 * a - 1),) if a else (), tag=str(at))
        for at, (a, b) in enumerate(spans)
    ]
    made = plan_upkeep(benches, MONDAY, 4, capacity)
    assert made.blocked == ()
    weeks = {one.visit.tag: (one.monday - MONDAY).days // 7 for one in made.placed}
    assert all(spans[int(tag)][0] <= week <= spans[int(tag)][1] for tag, week in weeks.items())
    counts = [list(weeks.values()).count(week) for week in range(4)]
    assert max(counts) <= made.level <= capacity
    assert (made.unplaced == ()) is brute(spans, capacity) is (made.overload is None)
    assert len(made.placed) + len(made.unplaced) == len(spans)


def test_too_many_for_their_weeks_are_named() -> None:
    benches = [bench(13, tag=str(at)) for at in range(5)] + [bench(20, tag="9")]
    made = plan_upkeep(benches, MONDAY, 4, 2)
    assert made.overload == Overload(MONDAY, MONDAY + timedelta(weeks=1), 5, 4)
    assert [one.tag for one in made.unplaced] == ["4"]


def test_visits_are_spread_and_not_heaped_into_the_first_week() -> None:
    benches = [bench(27, tag=str(at)) for at in range(4)]
    made = plan_upkeep(benches, MONDAY, 4, 4)
    assert made.level == 1
    assert made.placed == tuple(
        Placed(Visit(str(at), ("task 0",), MONDAY, day(27), day(27), None), MONDAY + timedelta(weeks=at))
        for at in range(4)
    )


def test_a_plan_that_begins_on_a_thursday_has_the_rest_of_that_week() -> None:
    made = plan_upkeep([bench(4), bench(2, tag="2")], day(3), 1, 1)
    assert [one.monday for one in made.placed] == [MONDAY]
    assert [one.tag for one in made.unplaced] == ["2"]
