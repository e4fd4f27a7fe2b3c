"""Plans, upkeep ahead and changed reservations as they are typed; and the demo planned and accepted."""

from __future__ import annotations

import os
import shlex
import sys
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select, update

from fleet import records
from fleet.commands.seeding import fill, moment_of, read_all, write_sheets
from fleet.desk.plans import accept, propose
from fleet.lists.breakouts import measured_before
from fleet.lists.items import find_item
from fleet.lists.jobs import find_job, find_joint
from fleet.lists.kits import check_kit, window_of
from fleet.lists.people import find_actor
from fleet.lists.plan_facts import gather, joint_facts
from fleet.lists.plan_kits import complete
from fleet.lists.reservations import reserved_for
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.measures.times import local_day, show_day, zone
from fleet.planning.facts import Limits
from fleet.planning.plan import make_plan
from fleet.records.base import rows_of
from fleet.rules.plans import Draft
from tests.commands.terminal import on_a_terminal
from tests.commands.typed import Keyboard, start
from tests.lists.rack import RUST, Rack, build
from tests.shop import ZONE

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.room import Room
    from tests.commands.typed import Answer, Desk
    from tests.shop import Clock, Shop


@dataclass
class Plan:
    """A rack of today with two joints, and a keyboard."""

    rack: Rack
    keyboard: Keyboard
    first: date

    def type(self, words: str, by: str = "P1") -> Answer:
        return self.keyboard.type(*shlex.split(words), by=by)

    @property
    def make(self) -> str:
        return (
            f"plan make --site north --from {self.first} --to {self.first + timedelta(days=13)} --seconds 5"
        )


@pytest.fixture
def plan(room: Room, shop: Shop, clock: Clock, capsys: pytest.CaptureFixture[str]) -> Plan:
    # The program that is typed into goes by the real clock.
    clock.now = datetime.now(UTC).replace(microsecond=0) + timedelta(hours=1)
    rack = build(room, shop)
    for code, mark in (("J-1", "F-1"), ("J-2", "G-1")):
        with room.look() as db:
            job = find_job(db, code).id
        shop.put(
            records.JointRow,
            job_id=job,
            mark=mark,
            bolts=12,
            across_flats_written="2 3/8 in",
            across_flats_mm=60.325,
            torque_written="1000 N·m",
            torque_nm=1000.0,
            loosening_factor=1.5,
            loosening_reason=RUST,
        )
    return Plan(rack, Keyboard(room.settings.database, capsys), local_day(clock.now, zone(ZONE)))


# --- A plan -------------------------------------------------------------------------------------------------


def test_a_plan_is_made_shown_accepted_and_listed(plan: Plan) -> None:
    made = plan.type(plan.make)

    assert (made.code, made.err) == (0, "")
    assert made.out.startswith("Plan 1 of NORTH, proposed.\n\nNORTH\n")
    assert "Not served:\n  J-" in made.out
    assert "To hire, so that every joint is served:\n  1 × wrench, 1 in square drive, at least" in made.out
    assert "joints unserved: 1, proven: there is no better" in made.out
    assert "First come, first served, hoses and sockets aside: 1 joint unserved, 1 kit, 500" in made.out
    assert made.out.endswith("Nothing is reserved yet. To reserve it all: fleet plan accept 1\n")
    assert plan.type("plan show 1").out == made.out
    assert plan.type("reservations --json").json == []

    accepted = plan.type("plan accept 1")

    assert (accepted.code, accepted.out) == (0, "Plan 1 is accepted: 5 items are reserved for 1 joint.\n")
    assert len(plan.type("reservations --json").json) == 5
    listed = plan.type("plan list")
    assert listed.out.split("\n")[1].split()[:2] == ["1", "NORTH"]
    assert listed.out.rstrip().endswith("Pat Planner  accepted")
    again = plan.type(plan.make)
    assert "Kept as reserved: J-" in again.out
    assert plan.type("plan drop 2 --reason 'The other joint can wait'").out == "Plan 2 is dropped.\n"


def test_a_plan_in_json(plan: Plan) -> None:
    sheet = plan.type(f"{plan.make} --json").json
    (site,) = sheet["draft"]["sites"]
    assert site["stages"][0] == {"aim": "works unserved", "value": 1, "bound": 1, "proven": True}
    assert (site["score"]["unserved"], len(site["parts"]), site["stopped"]) == (1, 1, False)
    assert plan.type("plan show 1 --json").json == sheet
    assert plan.type("plan list --json").json[0]["state"] == "proposed"


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ("plan make --from 2026-05-04", 2, ""),
        ("plan make --from 2026-05-04 --to 2026-05-01", 3, "The period ends before it starts; give --from"),
        (
            "plan make --from 2020-05-04 --to 2020-05-05",
            3,
            "The period ends before it starts, or lies in the",
        ),
        ("plan make --from 2091-05-04 --to 2091-05-05", 3, "NORTH has no job with joints from 4 May 2091"),
        ("plan make --site EAST --from 2026-05-04 --to 2026-05-05", 3, "There is no site 'EAST'"),
        ("plan make --from tomorrow --to 2026-05-05", 3, '"tomorrow" is not a day'),
        ("plan show 7", 3, "There is no plan 7. See: fleet plan list"),
        ("plan accept 7", 3, "There is no plan 7"),
        ("plan drop 7 --reason 'It is not needed'", 3, "There is no plan 7"),
        ("plan upkeep --weeks 0", 3, "Plan 1 to 104 weeks, with room for one item a week at least."),
        ("plan upkeep --capacity 0", 3, "Plan 1 to 104 weeks"),
        ("plan upkeep --from 2020-01-01", 3, "1 Jan 2020 has passed; begin with today or later."),
        ("reserve --job J-1", 3, "Name the items by their tags, or say with --any which kind will do."),
        ("reserve --job J-1 --at-least '700 bar'", 3, "Say with --any which kind of item is meant"),
        ("reserve --job J-1 --any ladder", 3, "'ladder' is not a kind of equipment"),
        ("reserve --job J-1 --any pump --at-least '700 N·m'", 3, ""),
    ],
)
def test_wrong_input_is_one_sentence(plan: Plan, words: str, code: int, said: str) -> None:
    answer = plan.type(words)
    assert (answer.code, answer.out) == (code, "")
    assert said in answer.err
    assert code == 2 or answer.err.count("\n") == 1


def test_a_grid_of_nothing_is_refused(plan: Plan) -> None:
    answer = plan.type(f"{plan.make} --grid '0 h'")
    assert answer.code == 3
    assert "step between start times must be longer than nothing" in answer.err


def test_without_the_solver_it_is_said_what_to_install(plan: Plan, tmp_path: Path) -> None:
    """A module of that name which cannot be imported stands before the real one."""
    (tmp_path / "highspy.py").write_text("raise ImportError")
    env = {"PYTHONPATH": f"{tmp_path}{os.pathsep}{os.pathsep.join(sys.path)}"}
    answer = start(*shlex.split(plan.make), "--database", plan.keyboard.database, "--by", "P1", **env)
    assert answer.code == 3
    assert answer.err == (
        "A plan needs the solver HiGHS, which is not installed; type pip install 'fleet[plan]'.\n"
    )


def test_a_terminal_of_80_columns_holds_it(plan: Plan) -> None:
    words = [*shlex.split(plan.make), "--database", plan.keyboard.database, "--by", "P1"]
    code, shown = on_a_terminal(*words)
    assert code == 0
    assert "NORTH: works unserved 1, at best 1" in shown
    assert max(map(len, shown.splitlines())) <= 80


# --- Reservations that change -------------------------------------------------------------------------------


def test_any_of_a_class_is_reserved_and_changed(plan: Plan) -> None:
    rack, first = plan.rack, plan.first
    spare = rack.thing("pump", relief_advance_mpa=70.0, relief_retract_mpa=10.0).tag
    own = rack.kit["pump"].tag
    day = [first + timedelta(days=number) for number in range(10)]

    kept = plan.type(
        f"reserve --job J-1 --any pump --at-least '700 bar' --from {day[2]} --to {day[3]} --id r1"
    )
    assert kept.code == 0
    assert kept.out.splitlines() == [
        f"Reserved 1 item for J-1, {show_day(day[2])} to {show_day(day[3])}.",
        f"  pump; at least 700 bar: {show_tag(min(own, spare))}",
    ]
    swapped = plan.type(f"reserved swap {min(own, spare)} --job J-1 --reason 'Wanted at the other unit'")
    assert swapped.out == (
        f"{show_tag(max(own, spare))} is reserved for J-1 in place of {show_tag(min(own, spare))}, "
        f"{show_day(day[2])} to {show_day(day[3])}.\n"
    )
    tag = max(own, spare)
    longer = plan.type(f"reserved extend {tag} --job J-1 --to {day[5]} --reason 'The bundle is stuck'")
    assert longer.out.endswith(f"{show_day(day[2])} to {show_day(day[5])}.\n")
    other = f"--instead {min(own, spare)} --reason 'Wanted elsewhere'"
    parted = plan.type(f"reserved split {tag} --job J-1 --at {day[4]} {other}")
    assert parted.out.endswith(f"in place of {show_tag(tag)}, {show_day(day[4])} to {show_day(day[5])}.\n")
    assert [line["tag"] for line in plan.type("reservations --json").json] == [tag, min(own, spare)]
    assert plan.type("reservations --warnings").out == "Nothing stands against what is reserved.\n"


def test_warnings_name_a_swap(plan: Plan) -> None:
    spare = plan.rack.wrench(2000.0)
    wrench = plan.rack.kit["wrench"].tag
    assert plan.type(f"reserve {wrench} --job J-1 --expires {plan.first + timedelta(days=2)}").code == 0
    told = plan.type("reservations --warnings")
    assert "It is given up unless fetched by" in told.out
    plan.rack.shop.put(
        records.HoldRow,
        item_id=plan.rack.kit["wrench"].item,
        cause="damaged",
        reason="Two teeth chipped",
        opened_at=plan.rack.room.clock() - timedelta(days=1),
    )
    (hold, _) = plan.type("reservations --warnings --site north --json").json
    assert (hold["matter"], hold["instead"]) == ("on hold", None)
    with plan.rack.room.act() as db:
        model = select(records.ItemRow.model_id).where(records.ItemRow.tag == wrench).scalar_subquery()
        items = rows_of(records.ItemRow)
        db.execute(update(items).where(items.c.id == spare.item).values(model_id=model))
    assert f"{show_tag(spare.tag)} (W-" in plan.type("reservations --warnings").out


# --- Upkeep ahead -------------------------------------------------------------------------------------------


def test_work_is_pulled_before_the_window_or_said_to_be_too_much(desk: Desk) -> None:
    tags = [desk.wrench(done_days_ago=340) for _ in range(3)]
    for tag in tags[:2]:
        words = f"reserve {tag} --job J-2 --from {desk.day(15)} --to {desk.day(40)}"
        desk.shop.job(desk.site, "J-2") if tag == tags[0] else None
        assert desk.type(*words.split()).code == 0

    sheet = desk.type("plan", "upkeep", "--weeks", "8", "--json").json

    visits = {one["visit"]["tag"]: one["visit"] for one in sheet["plan"]["placed"]}
    assert [visits[tag]["last_day"] for tag in tags[:2]] == [str(desk.day(14))] * 2
    assert {visits[tag]["before"] for tag in tags[:2]} == {"J-2"}
    assert visits[tags[2]]["last_day"] == desk.year_on(-340)
    assert sheet["plan"]["overload"] is None
    assert "Feasible, with at most 1 a week of the 4 there is room for." in desk.type("plan", "upkeep").out
    full = [desk.wrench(done_days_ago=364) for _ in range(9)]
    told = desk.type("plan", "upkeep", "--capacity", "2").out
    assert "Not feasible: The week" in told
    assert told.count("No place for") >= len(full) - 4


# --- The demo -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", ["NORTH", "EAST"])
def test_the_demo_is_planned_accepted_and_every_kit_passes(
    room: Room, clock: Clock, tmp_path: Path, code: str
) -> None:
    today = date(2026, 5, 13)
    clock.now = moment_of(today)
    fill(room, read_all(write_sheets(tmp_path, today)), lambda *_: None)
    with room.look() as db:
        ground = gather(db, find_site(db, code), today, today + timedelta(weeks=13), now=room.now(db))
        planner = find_actor(db, {"NORTH": "N21", "EAST": "E21"}[code])[0]
    made = complete(ground, make_plan(ground.facts, limits=Limits(seconds=3)))
    assert len(made.parts) >= 5
    assert made.score.unserved <= made.first_come.unserved
    with room.act() as db:
        draft = Draft(clock.now, clock.now + timedelta(weeks=13), 4.0, (made,))
        number = propose(db, "p", draft, by=planner, now=room.now(db))
    with room.act() as db:
        accept(db, number, by=planner, now=room.now(db))
    with room.look() as db:
        for part in made.parts:
            job = find_job(db, part.job)
            joint = find_joint(db, job, part.joint)
            facts = joint_facts(joint, measured_before(db, code, joint.mark))
            assert facts is not None
            for kit in part.kits:
                ids = [find_item(db, tag).id for tag in kit.tags]
                times = reserved_for(db, ids, joint.id, clock.now)
                assert times == (part.starts_at, part.ends_at)
                window = window_of(job, find_site(db, code), times)
                assert check_kit(db, ids, facts, window, now=room.now(db)).usable
