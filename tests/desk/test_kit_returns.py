"""What comes back as a kit: each part gets its own use, so that each can be traced."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet.desk.returns import Receipt, ReturnSlip, take_back
from fleet.desk.usage import UseSlip, note_use, reverse_use
from fleet.lists.traces import trace
from fleet.records import JointRow, LoanLineRow, LoanRow, UsageRow
from fleet.refusals import NotFound, NotPossible
from fleet.rules.usage import Worked, part_of_use, served_use
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop

KIT = {"wrench", "pump", "hose", "gauge"}
numbers = count(1)


@pytest.mark.parametrize(
    ("kind", "kit", "booked"),
    [
        ("wrench", KIT, (40, 0)),
        ("pump", KIT, (0, 90)),
        ("hose", KIT, (40, 90)),
        ("gauge", KIT, (40, 90)),
        ("wrench", {"wrench", "hose"}, (40, 90)),
        ("pump", {"pump", "hose"}, (40, 90)),
        ("hose", {"hose"}, (40, 90)),
    ],
)
def test_the_wrench_did_the_cycles_and_the_pump_the_minutes(
    kind: str, kit: set[str], booked: tuple[int, int]
) -> None:
    assert part_of_use(kind, 40, 90, kit) == booked


def test_one_figure_alone_is_said_of_every_part() -> None:
    assert part_of_use("pump", 40, None, KIT) == (40, None)
    assert part_of_use("wrench", None, 90, KIT) == (None, 90)
    assert part_of_use("hose", None, None, KIT) == (None, None)


def test_a_part_went_through_what_its_kit_did() -> None:
    wrench, back = Worked("wrench", None, None, 60, 30), Worked("wrench", 55, 0, 60, 30)
    pump = Worked("pump", 0, 45, None, None)
    assert served_use("hose", [wrench]) == (60, 30)
    assert served_use("hose", [back]) == (55, 30)
    assert served_use("hose", [back, pump]) == (55, 45)
    assert served_use("hose", [wrench, back]) == (115, 60)
    assert served_use("pump", [wrench]) == (0, 30)
    assert served_use("hose", [pump]) is None
    assert served_use("pump", [Worked("wrench", 55, None, None, None)]) is None
    assert served_use("gauge", []) is None


@dataclass
class Kit:
    """A wrench, a pump and a hose, out on one loan; the wrench alone was planned for."""

    room: Room
    shop: Shop
    job: int
    joint: int
    wrench: tuple[int, str]
    pump: tuple[int, str]
    hose: tuple[int, str]

    def back(
        self, tag: str, cycles: int | None = None, minutes: int | None = None, joint: str | None = None
    ) -> Receipt:
        by = self.shop.actor("K1")
        slip = ReturnSlip(f"r-{next(numbers)}", tag, cycles, minutes, "fine", joint=joint)
        with self.room.act() as db:
            return take_back(db, slip, by=by, now=self.room.now(db))


@pytest.fixture
def kit(room: Room, shop: Shop) -> Kit:
    site = shop.site()
    shop.person("K1", site, "keeper")
    shop.person("F1", site)
    job = shop.job(site)
    joints = [
        shop.put(JointRow, job_id=job, mark=mark, bolts=8, torque_written="900 N·m", torque_nm=900.0)
        for mark in ("A1", "A2")
    ]
    wrench, pump, hose = (shop.item(shop.model(kind), site) for kind in ("wrench", "pump", "hose"))
    loan = shop.put(
        LoanRow,
        client_id="loan",
        site_id=site,
        job_id=job,
        borrower_id=2,
        issued_at=NOON,
        issued_by_id=1,
        back_on=TODAY,
    )
    shop.put(LoanLineRow, loan_id=loan, item_id=wrench[0], planned_cycles=60, planned_minutes=30)
    shop.put(LoanLineRow, loan_id=loan, item_id=pump[0])
    shop.put(LoanLineRow, loan_id=loan, item_id=hose[0])
    return Kit(room, shop, job, joints[0], wrench, pump, hose)


def test_a_hose_without_a_plan_went_through_its_wrenchs(kit: Kit) -> None:
    assert (kit.back(kit.hose[1]).cycles, kit.back(kit.pump[1]).minutes) == (60, 30)


def test_once_the_wrench_is_back_what_it_did_counts_and_not_the_plan(kit: Kit) -> None:
    kit.back(kit.wrench[1], 44, 0)
    hose = kit.back(kit.hose[1])
    assert (hose.cycles, hose.minutes) == (44, 30)


def test_use_at_one_joint_is_kept_and_traced_for_every_part(kit: Kit) -> None:
    for _, tag in (kit.wrench, kit.pump, kit.hose):
        kit.back(tag, 40, 90, joint="a1")
    with kit.room.look() as db:
        assert db.execute(select(UsageRow.joint_id)).scalars().all() == [kit.joint] * 3
        for item, _ in (kit.wrench, kit.pump, kit.hose):
            (one,) = trace(db, item, since=TODAY, until=TODAY)
            assert (one.joint, one.borrower, len(one.charts)) == ("A1", "Fin Fitter", 1)


def test_a_joint_of_another_job_is_refused_and_it_stays_out(kit: Kit) -> None:
    with pytest.raises(NotFound, match=r"J-1 has no joint 'B7'\. Its joints: A1, A2"):
        kit.back(kit.wrench[1], 40, 90, joint="B7")
    with kit.room.look() as db:
        assert db.execute(select(UsageRow.id)).all() == []


def test_what_no_plan_or_wrench_tells_must_be_said(kit: Kit) -> None:
    alone, tag = kit.shop.item(kit.shop.model("gauge"), 1)
    loan = kit.shop.put(
        LoanRow,
        client_id="other",
        site_id=1,
        job_id=kit.job,
        borrower_id=2,
        issued_at=NOON,
        issued_by_id=1,
        back_on=TODAY,
    )
    kit.shop.put(LoanLineRow, loan_id=loan, item_id=alone)
    with pytest.raises(NotPossible, match="No use was planned for"):
        kit.back(tag)


def test_use_noted_at_a_joint_is_reversed_at_that_joint(kit: Kit) -> None:
    by = kit.shop.actor("K1")
    with kit.room.act() as db:
        slip = UseSlip("u", kit.wrench[1], 40, 0, TODAY, "Foreman's sheet 4", "J-1", "A1")
        entry = note_use(db, slip, by=by, now=NOON).entry
        reverse_use(db, entry, "The other wrench was meant", client_id="v", by=by, now=NOON)
        assert db.execute(select(UsageRow.joint_id)).scalars().all() == [kit.joint, kit.joint]
        found = trace(db, kit.wrench[0], since=TODAY, until=TODAY)
    # It is out for both joints, but no use of it is left.
    assert [(one.joint, one.cycles) for one in found] == [("A1", 0), ("A2", 0)]
    with pytest.raises(NotPossible, match="to which job the joint A1 belongs"), kit.room.act() as db:
        note_use(db, UseSlip("w", kit.wrench[1], 1, 0, TODAY, "Foreman's sheet", None, "A1"), by=by, now=NOON)
