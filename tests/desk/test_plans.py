"""A plan of a period: proposed with whole kits, accepted all or none, made anew around what is kept."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import select

from fleet import records
from fleet.desk.holds import open_hold
from fleet.desk.plans import Accepted, accept, drop, propose
from fleet.desk.reservations import ReserveSlip, reserve, set_free
from fleet.lists.jobs import find_job, find_joint
from fleet.lists.kits import check_kit, window_of
from fleet.lists.plan_facts import gather, joint_facts
from fleet.lists.plan_kits import complete
from fleet.lists.plans import find_plan, plans
from fleet.lists.reservations import reservations, reserved_for
from fleet.lists.sites import find_site
from fleet.planning.facts import Limits
from fleet.planning.plan import make_plan
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.conditions import HoldCause
from fleet.rules.plans import Draft, SitePlan
from tests.lists.rack import RUST, Rack, build
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop

WEEKS = TODAY, TODAY + timedelta(days=13)


@dataclass
class Table:
    """A planner's table: one kit on the shelves, two jobs of ten days without joints."""

    rack: Rack
    room: Room
    shop: Shop

    def joint(self, job: str = "J-1", mark: str = "F-1", **changed: Any) -> int:  # noqa: ANN401  Any field.
        with self.room.look() as db:
            job_id = find_job(db, job).id
        values = {
            "bolts": 12,
            "across_flats_written": "2 3/8 in",
            "across_flats_mm": 60.325,
            "torque_written": "1000 N·m",
            "torque_nm": 1000.0,
            "loosening_factor": 1.5,
            "loosening_reason": RUST,
        }
        return self.shop.put(records.JointRow, job_id=job_id, mark=mark, **(values | changed))

    def make(self, first: date = WEEKS[0], last: date = WEEKS[1]) -> SitePlan:
        with self.room.look() as db:
            ground = gather(db, find_site(db, None), first, last, now=self.room.now(db))
        return complete(ground, make_plan(ground.facts, limits=Limits(seconds=10)))

    def propose(self, made: SitePlan, client: str = "p1", by: str = "P1") -> int:
        actor = self.shop.actor(by)
        draft = Draft(NOON, NOON + timedelta(days=14), 4.0, (made,))
        with self.room.act() as db:
            return propose(db, client, draft, by=actor, now=self.room.now(db))

    def accept(self, number: int, by: str = "P1") -> Accepted:
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return accept(db, number, by=actor, now=self.room.now(db))

    def act(self, what: Any, *words: object, by: str = "P1") -> None:  # noqa: ANN401  Any act.
        actor = self.shop.actor(by)
        with self.room.act() as db:
            what(db, *words, by=actor, now=self.room.now(db))

    def kept(self) -> list[tuple[str, str | None, str]]:
        with self.room.look() as db:
            found = reservations(db, since=NOON - timedelta(days=1))
        return sorted((line.job, line.joint, line.tag) for line in found)

    def second_kit(self) -> None:
        """Another of everything."""
        self.rack.thing("pump", relief_advance_mpa=70.0, relief_retract_mpa=10.0)
        self.rack.thing("gauge", mwp_advance_mpa=100.0, graduation_mpa=0.5)
        self.rack.thing("hose")
        self.rack.wrench(2500.0)
        self.rack.socket(25.4)


@pytest.fixture
def table(room: Room, shop: Shop) -> Table:
    rack = build(room, shop)
    for badge, role in (("K1", "keeper"), ("S1", "safety officer")):
        shop.person(badge, rack.site, role)
    return Table(rack, room, shop)


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
