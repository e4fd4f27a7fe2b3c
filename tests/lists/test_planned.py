"""What use is planned for items that are kept for a joint, and offered at the return."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from fleet import records
from fleet.desk.loans import IssueSlip, issue
from fleet.desk.returns import ReturnSlip, take_back
from fleet.lists.planned import planned_use
from fleet.rules.strokes import PlannedUse
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop


@dataclass
class Plan:
    """A job with a wrench, a pump and a hose."""

    room: Room
    shop: Shop
    site: int
    job: int
    wrench: tuple[int, str]
    pump: tuple[int, str]
    hose: tuple[int, str]

    def joint(self, mark: str, **values: object) -> int:
        usual = {"bolts": 12, "torque_written": "1,000 N·m", "torque_nm": 1000.0, "turn_degrees": 90.0}
        return self.shop.put(records.JointRow, job_id=self.job, mark=mark, **(usual | values))

    def keep(self, joint: int, *items: tuple[int, str], days: int = 0) -> None:
        for item, tag in items:
            self.shop.put(
                records.ReservationRow,
                client_id=f"keep-{joint}-{tag}-{days}",
                item_id=item,
                job_id=self.job,
                joint_id=joint,
                starts_at=NOON + timedelta(days=days),
                ends_at=NOON + timedelta(days=days + 1),
                reserved_at=NOON,
                reserved_by_id=1,
            )

    def planned(self, item: tuple[int, str]) -> PlannedUse | None:
        with self.room.look() as db:
            return planned_use(db, [self.job]).get((item[0], self.job))


@pytest.fixture
def plan(room: Room, shop: Shop) -> Plan:
    site = shop.site()
    for badge, *roles in (("K1", "keeper"), ("F1",)):
        shop.person(badge, site, *roles)
    wrench = shop.model("wrench", stroke_degrees=30.0, advance_volume_cm3=70.0, return_volume_cm3=35.0)
    pump, hose = shop.model("pump", flow_l_min=1.2), shop.model("hose")
    job = shop.job(site)
    return Plan(room, shop, site, job, *(shop.item(model, site) for model in (wrench, pump, hose)))


# By hand: 3 strokes of 70 + 35 cm³ at 1.2 L/min on each of 12 nuts are 36 strokes and 3.15 min.
def test_strokes_for_the_wrench_and_its_hose_and_minutes_for_the_pump(plan: Plan) -> None:
    plan.keep(plan.joint("F-1"), plan.wrench, plan.pump, plan.hose)

    assert plan.planned(plan.wrench) == PlannedUse(36, None)
    assert plan.planned(plan.hose) == PlannedUse(36, None)
    assert plan.planned(plan.pump) == PlannedUse(None, 4)


def test_what_a_planner_wrote_holds_for_the_whole_kit(plan: Plan) -> None:
    plan.keep(plan.joint("F-1", planned_cycles=40, planned_minutes=20), plan.wrench, plan.pump)

    assert plan.planned(plan.wrench) == plan.planned(plan.pump) == PlannedUse(40, 20)


def test_joints_add_up_and_two_windows_for_one_joint_do_not(plan: Plan) -> None:
    first, second = plan.joint("F-1"), plan.joint("F-2", planned_cycles=10)
    plan.keep(first, plan.wrench, plan.pump)
    plan.keep(first, plan.wrench, days=2)
    plan.keep(second, plan.wrench, days=4)

    assert plan.planned(plan.wrench) == PlannedUse(46, None)


def test_of_two_wrenches_nobody_knows_which_turns_what(plan: Plan) -> None:
    with plan.room.look() as db:
        model = db.execute(
            records.base.rows_of(records.ItemRow).select().where(records.ItemRow.id == plan.wrench[0])
        ).one()
    other = plan.shop.item(model.model_id, plan.site)
    plan.keep(plan.joint("F-1"), plan.wrench, other, plan.pump)

    assert plan.planned(plan.wrench) == PlannedUse(None, None)


def test_the_keeper_takes_back_what_was_worked_out(plan: Plan) -> None:
    plan.keep(plan.joint("F-1"), plan.wrench, plan.pump)
    by = plan.shop.actor("K1")
    with plan.room.act() as db:
        tags = (plan.wrench[1], plan.pump[1])
        slip = IssueSlip("i1", tags, "F1", "J-1", TODAY + timedelta(days=1))
        issue(db, slip, by=by, now=plan.room.now(db))
    with plan.room.act() as db:
        back = [
            take_back(db, ReturnSlip(f"r/{tag}", tag, None, None, "fine"), by=by, now=plan.room.now(db))
            for tag in tags
        ]

    assert [(one.cycles, one.minutes) for one in back] == [(36, 0), (0, 4)]
