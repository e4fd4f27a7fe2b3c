"""After a repair a task is due again at once; an item's own limit goes before the clocks of its task."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from fleet.rules.due import Clocks, Due, LastDone, Meter, Noted, due_of, is_overdue, limited, undone_by
from fleet.rules.upkeep import CountsFrom

TODAY = date(2026, 5, 13)
NEW = Meter(0, 0)
YEARLY = Clocks(12, None, None)
NOON = datetime(2026, 5, 13, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("done", "undone"),
    [
        (None, True),
        ((-1, 5), True),  # the day before, though recorded later
        ((0, -5), True),
        ((0, 0), True),  # in the same instant: nobody can show that it came after
        ((0, 5), False),
        ((1, -5), False),  # the day after, though recorded earlier
    ],
)
def test_a_repair_undoes_what_was_done_before_it(done: tuple[int, int] | None, undone: bool) -> None:
    last = Noted(TODAY + timedelta(days=done[0]), NOON + timedelta(minutes=done[1])) if done else None
    assert undone_by(Noted(TODAY, NOON), last, CountsFrom.DONE) is undone
    assert undone_by(Noted(TODAY, NOON), last, CountsFrom.ASSEMBLY) is False


def due(clocks: Clocks, last: LastDone) -> Due:
    """When it is due, undone by a repair of today."""
    return due_of(
        clocks,
        last=last,
        received_on=date(2020, 1, 1),
        assembled_on=None,
        meter=NEW,
        recent=NEW,
        today=TODAY,
        undone_on=TODAY,
    )


def test_what_a_repair_undid_is_overdue_at_once_by_whatever_clock_it_counts() -> None:
    last = LastDone(TODAY - timedelta(days=3), NEW)
    for clocks in (YEARLY, Clocks(None, 5000, None)):
        found = due(clocks, last)
        assert found.due_on == TODAY - timedelta(days=1)
        assert is_overdue(found.due_on, found.use_left, TODAY)


def test_what_was_overdue_before_the_repair_stays_overdue_since_then() -> None:
    last = LastDone(date(2024, 1, 1), NEW)
    assert due(YEARLY, last).due_on == date(2025, 1, 1)


def test_a_limit_goes_before_the_clock_it_names_and_leaves_the_others() -> None:
    clocks = Clocks(12, 5000, 600, CountsFrom.ASSEMBLY)
    assert limited(clocks, 6, None, None) == Clocks(6, 5000, 600, CountsFrom.ASSEMBLY)
    assert limited(clocks, None, 100, 60) == Clocks(12, 100, 60, CountsFrom.ASSEMBLY)
    assert limited(YEARLY, None, None, 90) == Clocks(12, None, 90)
