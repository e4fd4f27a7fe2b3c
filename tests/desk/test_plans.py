"""A plan of a period: proposed with whole kits, accepted all or none, made anew around what is kept."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import select

from fleet import records
from fleet.desk.holds import open_hold
from fleet.lists.plans import find_plan, plans
from fleet.refusals import NotFound, NotPossible
from fleet.rules.conditions import HoldCause
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from tests.plantable import Table

WEEKS = TODAY, TODAY + timedelta(days=13)


# --- Proposed -----------------------------------------------------------------------------------------------


def test_a_joint_gets_a_whole_kit_and_nothing_is_reserved_by_it(table: Table) -> None:
    table.joint()

    made = table.make()

    kit = table.rack.kit
    (part,) = made.parts
    (planned,) = part.kits
    assert (planned.wrench, planned.pump) == (kit["wrench"].tag, kit["pump"].tag)
    assert planned.gauge == kit["gauge"].tag
    assert planned.rest == (kit["hose"].tag, kit["socket"].tag)
    assert (part.job, part.joint, part.starts_at, part.ends_at) == (
        "J-1",
        "F-1",
        NOON,
        NOON + timedelta(days=10),
    )
    assert (made.unserved, made.left_out, made.score.unserved, made.score.kits) == ((), (), 0, 1)
    # It gives 2000 N·m, and 1000 × 1.5 are needed.
    assert made.score.oversize_nm == 500
    number = table.propose(made)
    assert table.propose(made) == number
    assert table.kept() == []


def test_what_is_kept_of_a_plan_is_read_again_as_it_was_made(table: Table) -> None:
    table.joint()
    table.joint(mark="F-2")
    made = table.make()
    number = table.propose(made)
    with table.room.look() as db:
        sheet = find_plan(db, number)
        assert [line.state for line in plans(db)] == ["proposed"]
        with pytest.raises(NotFound, match="There is no plan 9"):
            find_plan(db, 9)
    assert sheet.draft.sites == (made,)
    assert (sheet.line.sites, sheet.line.made_by) == ("NORTH", "Pat Planner")


def test_what_goes_unserved_says_why_and_what_to_hire(table: Table) -> None:
    table.joint()
    table.joint(job="J-2", mark="G-1")
    made = table.make()
    assert len(made.parts) == 1
    (missing,) = made.unserved
    assert missing.why == "Wrenches are on other works. Short of 1 wrench."
    days = "13 May 2026 to 23 May 2026"
    assert made.hires == (
        f"1 × wrench, 1 in square drive, at least 1,110 lbf·ft, {days}",
        f"1 × pump, 10,153 psi, A 3/8 in (female retract, male advance), {days}",
        f"1 × gauge, G 3/8 in on the pump, {days}",
    )


def test_joints_that_take_hours_share_one_kit(table: Table) -> None:
    for at in range(3):
        table.joint(mark=f"F-{at}", duration_minutes=360)
    made = table.make()
    assert len(made.parts) == 3
    times = sorted((part.starts_at, part.ends_at) for part in made.parts)
    assert all(before[1] <= after[0] for before, after in pairwise(times))
    assert made.score.kits == 1


def test_a_joint_that_two_wrenches_work_on_gets_two_kits(table: Table) -> None:
    table.joint(wrenches_at_once=2)
    assert [one.why.partition(".")[0] for one in table.make().unserved] == [
        "Too few wrenches that are strong enough"
    ]
    table.second_kit()
    (part,) = table.make().parts
    assert len({tag for kit in part.kits for tag in kit.tags}) == 10


def test_without_another_socket_the_second_joint_goes_unserved(table: Table) -> None:
    table.second_kit()
    with table.room.look() as db:
        (extra,) = db.execute(
            select(records.ItemRow.tag)
            .join(records.ModelRow)
            .where(records.ModelRow.kind == "socket", records.ItemRow.tag != table.rack.kit["socket"].tag)
        ).scalars()
    table.act(open_hold, extra, HoldCause.OTHER, "Cracked at the square", by="K1")
    table.joint()
    table.joint(job="J-2", mark="G-1")
    made = table.make()
    assert [one.why for one in made.unserved] == [
        "No socket for 60.33 mm (2 3/8 in) is free for its wrench then."
    ]
    assert made.score.unserved == 1


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (
            {"loosening_factor": None, "loosening_reason": None},
            "No loosening factor is planned and nothing was",
        ),
        ({"across_flats_mm": None}, "The width across flats is not on record: measure a nut."),
        ({"duration_minutes": 30_000}, "It takes 500 hours, and only 240 hours of its window are left."),
    ],
)
def test_what_cannot_be_planned_is_left_out(table: Table, changed: dict[str, Any], said: str) -> None:
    table.joint(**changed)
    table.joint(mark="F-2")
    (left,) = table.make().left_out
    assert (left.joint, left.why[: len(said)]) == ("F-1", said)


def test_what_was_measured_counts_where_it_is_more(table: Table) -> None:
    joint = table.joint()
    entry = {"client_id": "b", "torque_written": "2,100 N·m", "torque_nm": 2100.0, "measured_on": TODAY}
    table.shop.put(records.BreakoutRow, joint_id=joint, recorded_at=NOON, **entry)
    assert [one.why.partition(".")[0] for one in table.make().unserved] == [
        "No wrench that fits is strong enough"
    ]


@pytest.mark.parametrize(
    "limit",
    [
        {"widest_mm": 99.0},
        {"highest_mm": 99.0},
        {"heaviest_kg": 9.0},
        {"head": "ratchet link"},
        {"drive_mm": 38.1},
    ],
)
def test_a_wrench_that_does_not_get_at_it_is_not_planned(table: Table, limit: dict[str, Any]) -> None:
    table.joint(**limit)
    assert [one.why.partition(".")[0] for one in table.make().unserved] == ["No wrench fits"]


def test_what_is_stopped_is_named_and_not_planned_with(table: Table) -> None:
    table.joint()
    weak = table.rack.thing("pump", relief_advance_mpa=60.0, relief_retract_mpa=10.0)
    table.second_kit()
    never = table.shop.item(table.rack.with_ports(table.shop.model("wrench"), "wrench"), table.rack.site)[1]
    aside = " ".join(table.make().aside)
    assert f"{weak.tag[:-1]}-{weak.tag[-1]} pump" in aside
    assert f"{never[:-1]}-{never[-1]} wrench" in aside
    assert "Calibration was never done." in aside


def test_a_period_without_work_is_a_sentence(table: Table) -> None:
    with pytest.raises(NotPossible, match="NORTH has no job with joints from 13 May 2026 to 26 May 2026"):
        table.make()
    table.joint()
    with pytest.raises(NotPossible, match="The period ends before it starts, or lies in the past"):
        table.make(TODAY + timedelta(days=3), TODAY)
