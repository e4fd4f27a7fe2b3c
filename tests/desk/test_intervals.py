"""Intervals proposed from the register, taken by a safety officer or declined; own limits of single items."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

import pytest

from fleet import records
from fleet.desk.intervals import ProposeSlip, decline, propose, take
from fleet.desk.limits import Limited, LimitSlip, end_limit, set_limit
from fleet.lists.due import due
from fleet.lists.intervals import proposals
from fleet.lists.limits import limits
from fleet.refusals import NotAllowed, NotFound, NotPossible, Unreadable
from fleet.rules.drift import Method
from fleet.rules.intervals import IntervalPolicy
from fleet.rules.limits import Clocks
from tests.laboratory import Laboratory, ago
from tests.shop import TODAY

if TYPE_CHECKING:
    from fleet.lists.intervals import ProposalLine
    from fleet.room import Room
    from tests.shop import Clock, Shop

POLICY = IntervalPolicy(1, 36, 25, 50)


@pytest.fixture
def laboratory(room: Room, shop: Shop) -> Laboratory:
    return Laboratory(room, shop).open()


def proposed(laboratory: Laboratory, method: Method, by: str = "K1", **changed: Any) -> ProposalLine:  # noqa: ANN401  Any field.
    slip = replace(ProposeSlip("calibration", method, POLICY, laboratory.tag), **changed)
    actor = laboratory.shop.actor(by)
    with laboratory.room.act() as db:
        return propose(db, slip, by=actor, now=laboratory.room.now(db))


def decide(
    laboratory: Laboratory, number: int, *, taken: bool = True, by: str = "S1", why: str = "Figures are sound"
) -> ProposalLine:
    actor = laboratory.shop.actor(by)
    with laboratory.room.act() as db:
        return (take if taken else decline)(db, number, why, by=actor, now=laboratory.room.now(db))


def due_on(laboratory: Laboratory, tag: str | None = None) -> date | None:
    with laboratory.room.look() as db:
        found = due(db, laboratory.site, until=date(2100, 1, 1), today=TODAY)
    return next(line.due_on for line in found if line.tag == (tag or laboratory.tag))


def limited(laboratory: Laboratory, by: str = "S1", **changed: Any) -> Limited:  # noqa: ANN401  As above.
    slip = LimitSlip(laboratory.tag, "calibration", Clocks(6), "Drifts faster than others", "Memo TR-12")
    actor = laboratory.shop.actor(by)
    with laboratory.room.act() as db:
        return set_limit(db, replace(slip, **changed), by=actor, now=laboratory.room.now(db))


def unlimited(laboratory: Laboratory, reason: str = "Drift has stopped", by: str = "S1") -> Limited:
    actor = laboratory.shop.actor(by)
    with laboratory.room.act() as db:
        return end_limit(db, laboratory.tag, "calibration", reason, by=actor, now=laboratory.room.now(db))


# --- Proposals ----------------------------------------------------------------------------------------------


def test_a_proposal_changes_nothing_before_it_is_taken(laboratory: Laboratory) -> None:
    """As found at 1 of 3 %: good, so the staircase adds 25 % to 12 months."""
    laboratory.good(on=ago(30))

    made = proposed(laboratory, Method.STAIRCASE)

    assert (made.now_months, made.proposed_months, made.choice) == (12, 15, None)
    assert made.method == "staircase, ILAC-G24 method 1"
    assert "last found at 33 % of tolerance" in made.evidence
    assert due_on(laboratory) == date(2027, 4, 13)
    assert laboratory.rows(records.LimitRow) == []

    taken = decide(laboratory, made.id)

    assert (taken.choice, taken.decided_by) == ("taken", "Sam Safety")
    assert due_on(laboratory) == date(2027, 7, 13)
    (limit,) = laboratory.rows(records.LimitRow)
    assert (limit["every_months"], limit["every_cycles"]) == (15, None)
    assert "Interval proposal 1" in str(limit["document"])
    with laboratory.room.look() as db:
        assert proposals(db) == []
        assert len(proposals(db, decided=True)) == 1


def test_a_declined_one_changes_nothing_at_all(laboratory: Laboratory) -> None:
    laboratory.good(on=ago(30))
    made = proposed(laboratory, Method.STAIRCASE)
    declined = decide(laboratory, made.id, taken=False)
    assert (declined.choice, due_on(laboratory)) == ("declined", date(2027, 4, 13))
    with pytest.raises(NotPossible, match="was declined already by Sam Safety"):
        decide(laboratory, made.id)


def test_the_interval_of_a_kind_is_tested_by_counts(laboratory: Laboratory) -> None:
    """22 of 22 good: 0.05 ** (1/22) = 87 % at least with 95 % confidence, more than the 80 % wanted."""
    model = laboratory.shop.model("wrench")
    tags = [laboratory.shop.item(model, laboratory.site)[1] for _ in range(21)]
    for tag in (laboratory.tag, *tags):
        laboratory.good(on=ago(30), item=tag)
    made = proposed(laboratory, Method.TEST, item=None, kind="wrench", target=0.8)
    assert (made.tag, made.kind, made.proposed_months) == (None, "wrench", 15)
    assert "22 of 22 within tolerance, so 87 to 100 %" in made.evidence

    decide(laboratory, made.id)

    assert laboratory.rows(records.TaskRow)[0]["every_months"] == 15
    assert {due_on(laboratory, tag) for tag in (laboratory.tag, tags[5])} == {date(2027, 7, 13)}


def test_a_drifting_wrench_gets_a_control_chart(laboratory: Laboratory) -> None:
    """It gives about 1 % more every 100 days, and its chart of today has to hold."""
    for years, torque in ((3, 1.0), (2, 1.01), (1, 1.02), (0, 1.03)):
        points = [f"as found; {at} MPa; {30 * at * torque:.1f} N·m; 1 N·m" for at in (20, 40, 70)]
        laboratory.good(*points, on=ago(1 + 100 * years))
    made = proposed(laboratory, Method.CONTROL_CHART)
    assert made.method == "control chart, ILAC-G24 method 2"
    assert "4 results drift by +" in made.evidence
    # In 100 days 0.97 % against the chart of today, so 3 % in 309 days: ten months.
    assert made.proposed_months == 10


def test_use_at_this_pace_reaches_the_limit_of_cycles(laboratory: Laboratory, clock: Clock) -> None:
    """3,000 cycles in the last half year of 182 days: 5,000 after 9.97 months."""
    clock.pass_by(hours=1)
    laboratory.shop.put(
        records.UsageRow,
        client_id="u1",
        item_id=laboratory.item,
        cycles=3000,
        minutes=0,
        used_on=ago(20),
        recorded_at=clock.now,
    )
    laboratory.shop.refresh(laboratory.item)
    made = proposed(laboratory, Method.IN_USE)
    assert (made.method, made.proposed_months) == ("in-use time, ILAC-G24 method 3", 9)


def test_what_was_proposed_for_another_state_is_not_taken(laboratory: Laboratory, clock: Clock) -> None:
    laboratory.good(on=ago(30))
    stale, other = proposed(laboratory, Method.STAIRCASE), proposed(laboratory, Method.STAIRCASE)
    limited(laboratory)
    with pytest.raises(NotPossible, match="12 months, and that is 6 months now"):
        decide(laboratory, stale.id)
    unlimited(laboratory)
    clock.pass_by(minutes=1)
    laboratory.take_in(calibrated_on=ago(1))
    with pytest.raises(NotPossible, match="taken in since"):
        decide(laboratory, other.id)


def test_without_figures_there_is_no_proposal(laboratory: Laboratory) -> None:
    for method, kind in ((Method.STAIRCASE, Unreadable), (Method.CONTROL_CHART, Unreadable)):
        with pytest.raises(kind):
            proposed(laboratory, method)
    with pytest.raises(Unreadable):
        proposed(laboratory, Method.TEST)
    with pytest.raises(Unreadable):
        proposed(laboratory, Method.IN_USE)
    with pytest.raises(NotPossible, match="of one item"):
        proposed(laboratory, Method.CONTROL_CHART, item=None, kind="wrench")
    with pytest.raises(NotFound, match="of its own"):
        proposed(laboratory, Method.TEST, item=None, model="W-2000")
    assert laboratory.rows(records.IntervalProposalRow) == []


def test_a_keeper_proposes_and_a_safety_officer_decides(laboratory: Laboratory) -> None:
    laboratory.good(on=ago(30))
    with pytest.raises(NotAllowed):
        proposed(laboratory, Method.STAIRCASE, by="F1")
    made = proposed(laboratory, Method.STAIRCASE)
    for taken in (True, False):
        with pytest.raises(NotAllowed):
            decide(laboratory, made.id, taken=taken, by="K1")
    with pytest.raises(NotPossible, match="in a sentence"):
        decide(laboratory, made.id, why="ok")
    with pytest.raises(NotFound, match="no proposal 9"):
        decide(laboratory, 9)


# --- Limits -------------------------------------------------------------------------------------------------


def test_a_limit_moves_the_due_day_and_its_end_moves_it_back(laboratory: Laboratory) -> None:
    laboratory.shop.did(laboratory.item, laboratory.task, ago(30))

    answer = limited(laboratory)

    assert (answer.due_on, str(answer.before)) == (date(2026, 10, 13), "12 months or 5,000 cycles")
    assert due_on(laboratory) == date(2026, 10, 13)
    assert limited(laboratory).again
    with laboratory.room.look() as db:
        (line,) = limits(db)
    assert (line.every_months, line.document, line.set_by) == (6, "Memo TR-12", "Sam Safety")

    assert unlimited(laboratory).due_on == date(2027, 4, 13)
    with laboratory.room.look() as db:
        assert limits(db) == []
        assert [one.end_reason for one in limits(db, ended=True)] == ["Drift has stopped"]
    with pytest.raises(NotPossible, match="no limit of its own"):
        unlimited(laboratory)


def test_a_later_limit_replaces_the_one_before(laboratory: Laboratory) -> None:
    limited(laboratory)
    limited(laboratory, clocks=Clocks(cycles=1000))
    with laboratory.room.look() as db:
        now, before = limits(db, ended=True)
    assert (now.every_months, now.every_cycles, now.ended_at) == (None, 1000, None)
    assert before.end_reason == "Replaced by a later limit."


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"clocks": Clocks()}, "needs a clock"),
        ({"clocks": Clocks(0)}, "above zero"),
        ({"clocks": Clocks(cycles=-5)}, "above zero"),
        ({"clocks": Clocks(241)}, "at most 240"),
        ({"reason": "because"}, "in a sentence"),
        ({"document": " "}, "which document"),
    ],
)
def test_a_limit_needs_a_clock_a_reason_and_a_document(
    laboratory: Laboratory, changed: dict[str, Any], said: str
) -> None:
    with pytest.raises(NotPossible, match=said):
        limited(laboratory, **changed)
    assert laboratory.rows(records.LimitRow) == []


def test_only_a_safety_officer_sets_and_ends_limits(laboratory: Laboratory) -> None:
    with pytest.raises(NotAllowed):
        limited(laboratory, by="K1")
    with pytest.raises(NotFound):
        limited(laboratory, task="paint")
    limited(laboratory)
    with pytest.raises(NotAllowed):
        unlimited(laboratory, by="K1")
