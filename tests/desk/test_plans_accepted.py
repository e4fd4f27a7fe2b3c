"""A plan accepted all or none, and made anew around what is reserved."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet import records
from fleet.desk.holds import open_hold
from fleet.desk.plans import Accepted, drop
from fleet.desk.reservations import ReserveSlip, reserve, set_free
from fleet.lists.jobs import find_job, find_joint
from fleet.lists.kits import check_kit, window_of
from fleet.lists.plan_facts import joint_facts
from fleet.lists.reservations import reservations, reserved_for
from fleet.lists.sites import find_site
from fleet.refusals import NotAllowed, NotPossible
from fleet.rules.conditions import HoldCause
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from tests.plantable import Table

WEEKS = TODAY, TODAY + timedelta(days=13)


# --- Accepted -----------------------------------------------------------------------------------------------


def test_an_accepted_plan_is_reserved_and_every_kit_passes(table: Table) -> None:
    table.second_kit()
    table.joint()
    table.joint(job="J-2", mark="G-1", duration_minutes=600)
    made = table.make()
    number = table.propose(made)

    assert table.accept(number) == Accepted(number, 2, 10)

    wanted = sorted(
        (part.job, part.joint, tag) for part in made.parts for kit in part.kits for tag in kit.tags
    )
    assert table.kept() == wanted
    with table.room.look() as db:
        assert {line.plan for line in reservations(db, since=NOON)} == {number}
        for part in made.parts:
            job = find_job(db, part.job)
            joint = find_joint(db, job, part.joint)
            facts = joint_facts(joint, None)
            assert facts is not None
            ids = [table.rack.kit[k].item for k in table.rack.kit]
            for kit in part.kits:
                found = select(records.ItemRow.id).where(records.ItemRow.tag.in_(kit.tags))
                ids = list(db.execute(found).scalars())
                times = reserved_for(db, ids, joint.id, NOON)
                assert times == (part.starts_at, part.ends_at)
                window = window_of(job, find_site(db, None), times)
                assert check_kit(db, ids, facts, window, now=NOON).usable
    with pytest.raises(NotPossible, match=f"Plan {number} was accepted already"):
        table.accept(number)


def test_a_later_plan_keeps_what_is_reserved_and_plans_the_rest(table: Table) -> None:
    table.joint()
    table.joint(job="J-2", mark="G-1")
    first = table.propose(table.make())
    table.accept(first)
    before = table.kept()
    table.second_kit()

    again = table.make()

    assert len(again.kept) == len(again.parts) == 1
    table.accept(table.propose(again, "p2"))
    assert set(before) < set(table.kept())
    assert {(job, joint) for job, joint, _ in table.kept()} == {("J-1", "F-1"), ("J-2", "G-1")}
    assert table.make().parts == ()


def test_what_was_taken_meanwhile_refuses_the_whole_plan_by_name(table: Table) -> None:
    table.second_kit()
    table.joint()
    table.joint(job="J-2", mark="G-1")
    made = table.make()
    number = table.propose(made)
    taken = made.parts[0].kits[0].pump
    table.act(reserve, ReserveSlip("v1", (taken,), "J-1"))

    with pytest.raises(
        NotPossible, match=rf"Nothing was reserved: make the plan anew\. {taken[:-1]}-{taken[-1]} for "
    ):
        table.accept(number)

    assert [tag for _, _, tag in table.kept()] == [taken]
    table.act(set_free, taken, "J-1", "The planner was first")
    assert table.accept(number).joints == 2


def test_what_was_stopped_or_changed_meanwhile_refuses_it_too(table: Table) -> None:
    joint = table.joint()
    made = table.make()
    number = table.propose(made)
    entry = {"client_id": "b", "torque_written": "2,100 N·m", "torque_nm": 2100.0, "measured_on": TODAY}
    table.shop.put(records.BreakoutRow, joint_id=joint, recorded_at=NOON, **entry)
    with pytest.raises(NotPossible, match="J-1 F-1: Loosening: The kit can give"):
        table.accept(number)
    table.act(open_hold, made.parts[0].kits[0].rest[0], HoldCause.DAMAGED, "Cover cut through", by="K1")
    with pytest.raises(NotPossible, match="On hold since 13 May 2026: Cover cut through"):
        table.accept(number)
    assert table.kept() == []


def test_a_plan_is_dropped_for_a_reason_and_then_not_accepted(table: Table) -> None:
    table.joint()
    number = table.propose(table.make())
    with pytest.raises(NotPossible, match="Write down why the plan is dropped"):
        table.act(drop, number, "no")
    table.act(drop, number, "The job was put off")
    with pytest.raises(NotPossible, match=f"Plan {number} was dropped already"):
        table.accept(number)


def test_a_plan_that_serves_nothing_cannot_be_accepted(table: Table) -> None:
    table.joint(torque_nm=90_000.0)
    number = table.propose(table.make())
    with pytest.raises(NotPossible, match="serves no joint"):
        table.accept(number)


def test_only_planners_and_keepers_plan(table: Table) -> None:
    table.joint()
    made = table.make()
    number = table.propose(made)
    with pytest.raises(NotAllowed):
        table.propose(made, "p2", by="S1")
    with pytest.raises(NotAllowed):
        table.accept(number, by="S1")
    with pytest.raises(NotAllowed):
        table.act(drop, number, "The job was put off", by="F1")
    assert replace(table.accept(number, by="K1"), items=0) == Accepted(number, 1, 0)
