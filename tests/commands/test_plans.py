"""Plans, upkeep ahead and changed reservations as they are typed; and the demo planned and accepted."""

from __future__ import annotations

import os
import shlex
import signal
import sys
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select, update

from fleet import records
from fleet.commands.planmake import until_ctrl_c
from fleet.lists.jobs import find_job
from fleet.measures.tags import show_tag
from fleet.measures.times import local_day, show_day, zone
from fleet.records.base import rows_of
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
    days = f"{show_day(plan.first)}  {show_day(plan.first + timedelta(days=13))}"
    assert listed.out.rstrip().endswith(f"{days}  Pat Planner  accepted")
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
        "A plan needs the solver HiGHS, which is not installed; type: pip install highspy\n"
    )


def test_a_terminal_of_80_columns_holds_it(plan: Plan) -> None:
    words = [*shlex.split(plan.make), "--database", plan.keyboard.database, "--by", "P1"]
    code, shown = on_a_terminal(*words)
    assert code == 0
    assert "NORTH: works unserved 1, at best 1" in shown
    assert max(map(len, shown.splitlines())) <= 80


def test_several_sites_are_planned_each_by_itself(plan: Plan) -> None:
    shop = plan.rack.shop
    south = shop.site("SOUTH", "Europe/Berlin")
    person = select(records.PersonRow.id).where(records.PersonRow.badge == "P1").scalar_subquery()
    shop.put(records.RoleRow, person_id=person, site_id=south, role="planner")
    job = shop.job(south, "J-3", starts_at=plan.rack.room.clock())
    torque = {"torque_written": "1000 N·m", "torque_nm": 1000.0, "across_flats_mm": 60.325}
    more = {"loosening_factor": 1.5, "loosening_reason": RUST, "bolts": 12}
    shop.put(records.JointRow, job_id=job, mark="S-1", **torque, **more)

    made = plan.type(f"{plan.make} --site south --site north")

    assert made.out.startswith("Plan 1 of NORTH, SOUTH, proposed.\nItems do not travel: each site is planned")
    assert "SOUTH: No joint is served." in made.out
    assert "  J-3 S-1: No wrench fits. Short of 1 wrench.\n" in made.out


def test_ctrl_c_ends_the_search_once_and_the_program_the_second_time() -> None:
    before = signal.getsignal(signal.SIGINT)
    with until_ctrl_c() as stopped:
        assert not stopped()
        signal.raise_signal(signal.SIGINT)
        assert stopped()
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is before


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
