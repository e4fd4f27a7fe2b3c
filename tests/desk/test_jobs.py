"""Jobs and joints added and changed by hand: the same rules as in a sheet, once, by those who may."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet import records
from fleet.desk.jobs import Written, add_job, add_joint, change_job, change_joint
from fleet.lists.jobs import find_job, find_joint, joints
from fleet.refusals import NotAllowed, NotFound, NotPossible, Refusal
from tests.shop import NOON

if TYPE_CHECKING:
    from fleet.lists.jobs import JobLine, JointLine
    from fleet.room import Room
    from tests.shop import Shop

JOB = {"Job": "J-9", "Name": "Reactor head", "Start": "2026-06-01", "End": "2026-06-03", "Crews": "2"}
JOINT = {
    "Joint": "R-1 head",
    "Bolts": "32",
    "Thread": "2 1/4-8 UN",
    "Nut series": "Heavy",
    "Across flats": "3 1/2 in",
    "Target torque": "5,950 lbf·ft",
    "Loosening factor": "1.3",
    "Loosening reason": "Greased last year",
}


class Planners:
    """A site with a keeper, a planner, an officer and a job, and what is done there by hand."""

    def __init__(self, room: Room, shop: Shop) -> None:
        self.room, self.shop = room, shop
        self.site = shop.site()
        for badge, *roles in (("K1", "keeper"), ("P1", "planner"), ("S1", "safety officer"), ("F1",)):
            shop.person(badge, self.site, *roles)
        self.job = shop.job(self.site)

    def add_job(self, by: str = "P1", site: str = "NORTH", **cells: str) -> Written:
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return add_job(db, site, JOB | cells, by=actor, now=self.room.now(db))

    def change_job(self, by: str = "P1", code: str = "j-9", **cells: str) -> Written:
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return change_job(db, code, JOB | cells, by=actor, now=self.room.now(db))

    def add_joint(self, cells: dict[str, str] | None = None, by: str = "P1", job: str = "J-1") -> Written:
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return add_joint(db, job, JOINT if cells is None else cells, by=actor, now=self.room.now(db))

    def change_joint(self, cells: dict[str, str], by: str = "P1") -> Written:
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return change_joint(db, "J-1", "r-1 HEAD", cells, by=actor, now=self.room.now(db))

    def found(self, code: str = "J-9") -> JobLine:
        with self.room.look() as db:
            return find_job(db, code)

    def joint(self) -> JointLine:
        with self.room.look() as db:
            return find_joint(db, find_job(db, "J-1"), "R-1 head")

    def booked(self) -> list[tuple[str, str, dict[str, object]]]:
        with self.room.look() as db:
            rows = db.execute(select(records.EntryRow.act, records.EntryRow.about, records.EntryRow.body))
            return [(act, about, json.loads(body)) for act, about, body in rows]


@pytest.fixture
def planners(room: Room, shop: Shop) -> Planners:
    return Planners(room, shop)


def test_a_job_is_added_in_the_time_of_its_site_and_a_bare_end_holds_its_day(planners: Planners) -> None:
    assert planners.add_job() == Written("J-9")
    job = planners.found()
    assert (job.name, job.crews, job.site) == ("Reactor head", 2, "NORTH")
    assert job.starts_at == datetime(2026, 6, 1, 5, tzinfo=UTC)
    assert job.ends_at == datetime(2026, 6, 4, 5, tzinfo=UTC)
    ((act, about, body),) = planners.booked()
    assert (act, about, body["crews"]) == ("job added", "J-9", "2")


def test_the_same_job_sent_twice_is_added_once_and_another_under_its_code_is_refused(
    planners: Planners,
) -> None:
    planners.add_job()
    assert planners.add_job().again
    assert len(planners.booked()) == 1
    with pytest.raises(NotPossible, match="There is a job J-9 already"):
        planners.add_job(Name="Another")
    with pytest.raises(NotPossible, match="There is a job j-9 already"):
        planners.add_job(Job="j-9")


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({"Job": " "}, "Job must not be left empty."),
        ({"Name": ""}, "Name must not be left empty."),
        ({"Start": "1/6/26"}, "more than one way"),
        ({"Start": "soon"}, '"soon" is not a day'),
        ({"End": "2026-05-31"}, "End must be after Start"),
        ({"Start": "2026-06-01 07:00", "End": "2026-06-01 07:00"}, "End must be after Start"),
        ({"Crews": "0"}, "Crews: This must be at least 1"),
        ({"Crews": "two"}, 'Crews: "two" is not a whole number'),
        ({"Name": "x" * 4001}, "at most 4,000"),
    ],
)
def test_what_makes_no_job_is_refused_in_a_sentence(
    planners: Planners, cells: dict[str, str], said: str
) -> None:
    with pytest.raises(Refusal, match=said):
        planners.add_job(**cells)
    assert planners.booked() == []
    with pytest.raises(NotFound):
        planners.found()


def test_a_job_is_changed_and_both_values_are_booked(planners: Planners) -> None:
    planners.add_job()
    done = planners.change_job(End="2026-06-05", Crews="")
    assert done == Written("J-9", ("End", "Crews"))
    assert planners.found().crews is None
    (_, changed) = planners.booked()
    assert changed[0] == "job changed"
    assert changed[2]["changes"] == [
        ["End", "2026-06-04T05:00:00+00:00", "2026-06-06T05:00:00+00:00"],
        ["Crews", "2", ""],
    ]
    assert planners.change_job(End="2026-06-05", Crews="").again
    assert len(planners.booked()) == 2


def test_what_reaches_beyond_the_new_window_is_counted_and_stays(planners: Planners, shop: Shop) -> None:
    item, _ = shop.item(shop.model("wrench"), planners.site)
    kept = {"item_id": item, "reserved_at": NOON, "reserved_by_id": shop.actor("P1").id}
    shop.put(
        records.ReservationRow,
        client_id="r1",
        job_id=planners.job,
        starts_at=NOON,
        ends_at=datetime(2026, 5, 20, tzinfo=UTC),
        **kept,
    )
    cells = {"Name": "Exchanger bundle", "Start": "2026-05-13 12:00", "End": "2026-05-18"}
    assert planners.change_job(code="J-1", **cells).outside == 1
    assert planners.change_job(code="J-1", **cells | {"End": "2026-05-25"}).outside == 0


@pytest.mark.parametrize("by", ["S1", "F1"])
def test_who_neither_plans_nor_keeps_changes_nothing(planners: Planners, by: str) -> None:
    planners.add_joint(by="K1")
    with pytest.raises(NotAllowed):
        planners.add_job(by)
    with pytest.raises(NotAllowed):
        planners.change_job(by, "J-1")
    with pytest.raises(NotAllowed):
        planners.add_joint(JOINT | {"Joint": "R-2"}, by)
    with pytest.raises(NotAllowed):
        planners.change_joint(JOINT, by=by)


def test_a_role_elsewhere_is_none_here(planners: Planners, shop: Shop) -> None:
    shop.person("P2", shop.site("SOUTH"), "planner")
    with pytest.raises(NotAllowed):
        planners.add_job("P2")
    with pytest.raises(NotAllowed):
        planners.add_joint(by="P2")


def test_a_joint_is_added_as_a_sheet_would_take_it(planners: Planners) -> None:
    assert planners.add_joint() == Written("R-1 head")
    joint = planners.joint()
    assert (joint.bolts, joint.nut_series, joint.torque_written) == (32, "heavy", "5,950 lbf·ft")
    assert joint.torque_nm == pytest.approx(5950 * 1.3558179483)
    assert joint.across_flats_mm == pytest.approx(88.9)
    assert planners.add_joint().again
    assert [act for act, *_ in planners.booked()] == ["joint added"]
    with pytest.raises(NotPossible, match="has a joint r-1 HEAD already"):
        planners.add_joint(JOINT | {"Joint": "r-1 HEAD"})


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({"Bolts": ""}, "Bolts is needed"),
        ({"Target torque": ""}, "Target torque is needed"),
        ({"Target torque": "0 N·m"}, "must be above zero"),
        ({"Target torque": "5950"}, "Target torque: "),
        ({"Loosening reason": ""}, "a loosening factor with its reason, or neither"),
        ({"Loosening factor": "7"}, "Loosening factor: "),
        ({"Thread": "wide"}, "Thread: "),
        ({"Nut series": "huge"}, "Nut series: "),
        ({"Head": "ratchet link", "Square drive": "1 in"}, "no square drive"),
        ({"Template": "none such"}, "There is no joint template"),
    ],
)
def test_what_makes_no_joint_is_refused_in_a_sentence(
    planners: Planners, cells: dict[str, str], said: str
) -> None:
    with pytest.raises(Refusal, match=said):
        planners.add_joint(JOINT | cells)
    assert planners.booked() == []


def test_what_is_left_empty_comes_from_the_template(planners: Planners, shop: Shop) -> None:
    shop.put(
        records.JointTemplateRow,
        name="Manway",
        bolts=20,
        torque_written="450 lbf·ft",
        torque_nm=610.1,
        loosening_factor=1.5,
        loosening_reason="Five years outdoors",
    )
    planners.add_joint({"Joint": "R-1 head", "Template": "manway", "Bolts": "24"})
    joint = planners.joint()
    assert (joint.bolts, joint.torque_written, joint.loosening_factor) == (24, "450 lbf·ft", 1.5)


def test_a_joint_is_changed_but_for_its_mark(planners: Planners) -> None:
    planners.add_joint()
    done = planners.change_joint(JOINT | {"Joint": "Other", "Bolts": "28", "Thread": ""})
    assert done == Written("R-1 head", ("Bolts", "Thread"))
    joint = planners.joint()
    assert (joint.mark, joint.bolts, joint.thread) == ("R-1 head", 28, None)
    assert planners.booked()[-1][2]["changes"] == [["Bolts", "32", "28"], ["Thread", "2 1/4-8 UN", ""]]
    assert planners.change_joint(JOINT | {"Bolts": "28", "Thread": ""}).again
    with planners.room.look() as db:
        assert len(joints(db, find_job(db, "J-1"))) == 1
