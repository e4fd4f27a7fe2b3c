"""Breakouts recorded at the desk, at a return, and withdrawn."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import func, select

from fleet import records
from fleet.desk.breakouts import record_breakout, withdraw_breakout
from fleet.desk.loans import IssueSlip, issue
from fleet.desk.returns import Receipt, ReturnSlip, take_back
from fleet.ledgers.breakouts import Breakout, Told
from fleet.lists.breakouts import breakouts, measured_before, measured_of
from fleet.lists.jobs import find_job
from fleet.refusals import NotAllowed, NotFound, NotPossible, OffTheChart
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from fleet.rules.breakouts import Spread
    from tests.shop import Shop


@dataclass
class Flange:
    """A joint in two jobs of a site, and a wrench whose chart is straight: 40 MPa give 1,200 N·m."""

    room: Room
    shop: Shop
    wrench: str
    pump: str

    def record(self, client: str = "b1", by: str = "K1", job: str = "J-1", **changed: object) -> Breakout:
        told = replace(Told(client, "F-1", "40 MPa", self.wrench), **changed)  # type: ignore[arg-type]
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return record_breakout(db, job, told, by=actor, now=self.room.now(db))

    def withdraw(
        self, entry: int, client: str = "w1", by: str = "K1", reason: str = "Read a wrong gauge"
    ) -> Breakout:
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return withdraw_breakout(db, entry, reason, client_id=client, by=actor, now=self.room.now(db))

    def take_back(self, *told: tuple[str, str], tag: str = "") -> Receipt:
        actor = self.shop.actor("K1")
        slip = ReturnSlip("r1", tag or self.wrench, 4, 2, "fine", breakouts=told)
        with self.room.act() as db:
            return take_back(db, slip, by=actor, now=self.room.now(db))

    def before(self, mark: str = "F-1", site: str = "NORTH") -> Spread | None:
        with self.room.look() as db:
            return measured_before(db, site, mark)

    def kept(self) -> int:
        with self.room.look() as db:
            return db.execute(select(func.count(records.BreakoutRow.id))).scalar_one()

    def entry(self) -> tuple[str, str, dict[str, object]]:
        """The newest entry of the day book."""
        with self.room.look() as db:
            row = db.execute(select(records.EntryRow).order_by(records.EntryRow.seq.desc()).limit(1)).one()
        return row.act, row.about, json.loads(row.body)


@pytest.fixture
def flange(room: Room, shop: Shop) -> Flange:
    site, other = shop.site(), shop.site("SOUTH")
    for badge, *roles in (("K1", "keeper"), ("P1", "planner"), ("F1",)):
        shop.person(badge, site, *roles)
    for job in (
        shop.job(site),
        shop.job(site, "J-2", starts_at=NOON + timedelta(days=100)),
        shop.job(other, "J-3"),
    ):
        shop.put(
            records.JointRow, job_id=job, mark="F-1", bolts=12, torque_written="1,000 N·m", torque_nm=1000.0
        )
    (_, wrench), (_, pump) = shop.item(shop.model("wrench"), site), shop.item(shop.model("pump"), site)
    with room.act() as db:
        slip = IssueSlip("i1", (wrench, pump), "F1", "J-1", TODAY + timedelta(days=5))
        issue(db, slip, by=shop.actor("K1"), now=room.now(db))
    return Flange(room, shop, wrench, pump)


# --- Recording ----------------------------------------------------------------------------------------------


def test_a_pressure_is_kept_as_the_torque_of_the_wrenchs_chart(flange: Flange) -> None:
    kept = flange.record()

    # 1,200 N·m are 885.07 lbf·ft, the unit of the site; a demand is rounded up.
    assert (kept.torque_written, kept.pressure_written) == ("885.1 lbf·ft", "40 MPa")
    assert kept.torque_nm == pytest.approx(885.1 * 1.3558179483)
    assert (kept.joint, kept.job, kept.tag, kept.measured_on) == ("F-1", "J-1", flange.wrench, TODAY)
    act, about, body = flange.entry()
    assert (act, about) == ("breakout recorded", "F-1")
    assert (body["torque"], body["pressure"], body["wrench"]) == ("885.1 lbf·ft", "40 MPa", flange.wrench)


def test_a_torque_needs_no_wrench(flange: Flange) -> None:
    kept = flange.record(
        reading="1,500 N·m", item=None, measured_on=TODAY - timedelta(days=3), note="Multiplier"
    )

    assert (kept.torque_written, kept.torque_nm, kept.tag, kept.factor) == ("1,500 N·m", 1500.0, None, 1.5)
    with flange.room.look() as db:
        (line,) = breakouts(db)
    assert (line.measured_on, line.note, line.by) == (TODAY - timedelta(days=3), "Multiplier", "Kim Keeper")


def test_a_request_that_is_repeated_is_carried_out_once(flange: Flange) -> None:
    first = flange.record()
    assert flange.record() == replace(first, again=True)
    assert flange.kept() == 1
    with pytest.raises(NotPossible, match="was used before, for something else"):
        flange.record(job="J-2")
    with pytest.raises(NotPossible, match="was used before, for something else"):
        flange.withdraw(first.entry, client="b1")


def test_what_cannot_be_is_refused_and_nothing_is_kept(flange: Flange) -> None:
    refusals = (
        (NotPossible, "is a pump; a nut is broken loose by a wrench", {"item": flange.pump}),
        (NotPossible, "name the wrench too", {"item": None}),
        (NotPossible, "still to come", {"measured_on": TODAY + timedelta(days=1)}),
        (NotPossible, "gives at most", {"reading": "2,200 N·m"}),
        (OffTheChart, "lies outside the chart", {"reading": "10 MPa"}),
        (NotFound, "has no joint", {"joint": "F-2"}),
        (NotAllowed, "is not a keeper", {"by": "P1"}),
        # The joint of the other site is none of this keeper's.
        (NotAllowed, "is not a keeper", {"job": "J-3"}),
    )
    for kind, sentence, changed in refusals:
        with pytest.raises(kind, match=sentence):
            flange.record(**changed)
    assert flange.kept() == 0


# --- The same joint in another job --------------------------------------------------------------------------


def test_the_same_mark_at_the_site_is_the_same_joint(flange: Flange) -> None:
    flange.record(reading="1,500 N·m")
    flange.record("b2", reading="1,300 N·m")

    spread = flange.before("f-1")
    assert spread is not None
    assert (spread.count, spread.lowest_nm, spread.highest_nm) == (2, 1300.0, 1500.0)
    assert flange.before(site="SOUTH") is None
    with flange.room.look() as db:
        assert measured_of(db, find_job(db, "J-2")) == {"f-1": spread}
        assert measured_of(db, find_job(db, "J-3")) == {}


# --- Withdrawing --------------------------------------------------------------------------------------------


def test_a_withdrawn_breakout_stays_readable_and_counts_for_nothing(flange: Flange) -> None:
    wrong = flange.record(reading="1,900 N·m").entry
    flange.record("b2", reading="1,300 N·m")

    taken_back = flange.withdraw(wrong)

    spread = flange.before()
    assert spread is not None
    assert (spread.count, spread.highest_nm) == (1, 1300.0)
    with flange.room.look() as db:
        lines = {line.entry: line for line in breakouts(db)}
    assert lines[wrong].withdrawn_by == taken_back.entry
    assert lines[taken_back.entry].withdraws == wrong
    assert lines[taken_back.entry].reason == lines[wrong].reason == "Read a wrong gauge"
    act, _, body = flange.entry()
    assert (act, body["withdraws"], body["reason"]) == ("breakout withdrawn", wrong, "Read a wrong gauge")
    assert flange.withdraw(wrong) == replace(taken_back, again=True)


def test_what_cannot_be_withdrawn(flange: Flange) -> None:
    entry = flange.record().entry
    with pytest.raises(NotFound, match="There is no breakout 99"):
        flange.withdraw(99)
    with pytest.raises(NotPossible, match="at least 10 characters"):
        flange.withdraw(entry, reason="wrong")
    with pytest.raises(NotAllowed, match="is not a keeper"):
        flange.withdraw(entry, by="P1")
    second = flange.withdraw(entry).entry
    with pytest.raises(NotPossible, match=f"already withdrawn by entry {second}"):
        flange.withdraw(entry, client="w2")
    with pytest.raises(NotPossible, match="itself takes one back"):
        flange.withdraw(second, client="w3")


# --- At the return ------------------------------------------------------------------------------------------


def test_breakouts_come_back_with_the_wrench(flange: Flange) -> None:
    receipt = flange.take_back(("F-1", "40 MPa"), ("f-1", "1,500 N·m"))

    assert [one.torque_written for one in receipt.breakouts] == ["885.1 lbf·ft", "1,500 N·m"]
    spread = flange.before()
    assert spread is not None
    assert spread.count == 2
    act, about, body = flange.entry()
    assert (act, about) == ("returned", flange.wrench)
    assert [one["torque"] for one in body["breakouts"]] == ["885.1 lbf·ft", "1,500 N·m"]  # type: ignore[attr-defined]


def test_a_return_that_is_repeated_keeps_no_breakout_twice(flange: Flange) -> None:
    flange.take_back(("F-1", "40 MPa"))
    assert flange.take_back(("F-1", "40 MPa")).again
    assert flange.kept() == 1


def test_a_breakout_that_cannot_be_keeps_the_wrench_out(flange: Flange) -> None:
    with pytest.raises(NotFound, match="has no joint"):
        flange.take_back(("F-9", "40 MPa"))
    with pytest.raises(NotPossible, match="is a pump"):
        flange.take_back(("F-1", "40 MPa"), tag=flange.pump)
    assert flange.kept() == 0
    with flange.room.look() as db:
        out = select(func.count()).where(records.LoanLineRow.returned_at.is_(None))
        assert db.execute(out).scalar_one() == 2
