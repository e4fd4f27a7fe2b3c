"""Finding and reserving kits, and templates of joints, as it is typed."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet import records
from fleet.measures.tags import show_tag
from tests.commands.terminal import on_a_terminal
from tests.commands.typed import Answer, Keyboard, everything
from tests.lists.rack import Rack, build
from tests.lists.stocked import FLATS

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop

FIND = "kit find --job J-1 --joint F-1"
EIGHTY = 80


@dataclass
class Plan:
    """A kit that fits, a joint to find it for, and a planner at the keyboard."""

    rack: Rack
    keyboard: Keyboard

    def type(self, words: str, by: str = "P1") -> Answer:
        return self.keyboard.type(*shlex.split(words), by=by)

    def refused(self, words: str, by: str = "P1") -> str:
        before = everything(self.rack.room)
        answer = self.type(words, by=by)
        assert (answer.code, answer.err.count("\n")) == (3, 1), answer
        assert everything(self.rack.room) == before
        return answer.err.strip()

    def kept(self) -> set[str]:
        statement = select(records.ItemRow.tag).join(
            records.ReservationRow, records.ReservationRow.item_id == records.ItemRow.id
        )
        with self.rack.room.look() as db:
            return set(db.execute(statement).scalars())


@pytest.fixture
def plan(room: Room, shop: Shop, clock: Clock, capsys: pytest.CaptureFixture[str]) -> Plan:
    clock.now = datetime.now(UTC).replace(microsecond=0)
    rack = build(room, shop)
    shop.put(
        records.JointRow,
        job_id=1,
        mark="F-1",
        bolts=24,
        across_flats_mm=FLATS,
        torque_written="1000 N·m",
        torque_nm=1000.0,
        loosening_factor=1.5,
        loosening_reason="Rusted studs, four years in salt air",
    )
    return Plan(rack, Keyboard(room.settings.database, capsys))


def test_a_kit_is_found_with_its_setting_and_what_to_type(plan: Plan) -> None:
    answer = plan.type(FIND)
    assert (answer.code, answer.err) == (0, "")
    assert all(thing.tag[:-1] in answer.out for kind, thing in plan.rack.kit.items() if kind != "coupler")
    # 35 MPa is 5,076.3 psi (NIST SP 811): at 5,076 it would fall short.
    assert "5,077 psi" in answer.out
    assert "planning aid only" in answer.out
    (command,) = [
        line.strip() for line in answer.out.splitlines() if line.strip().startswith("fleet reserve")
    ]
    assert plan.type(command.removeprefix("fleet ")).code == 0
    assert plan.kept() == {thing.tag for kind, thing in plan.rack.kit.items() if kind != "coupler"}


def test_what_was_found_is_kept_in_the_same_breath(plan: Plan) -> None:
    small = plan.rack.wrench(1700.0)
    answer = plan.type(f"{FIND} --reserve 1")
    assert answer.code == 0
    assert "Reserved 5 items of number 1 for J-1." in answer.out
    assert small.tag in plan.kept()
    again = plan.type(f"{FIND} --json")
    assert again.json["commands"][0] is None
    assert again.json["answer"]["alternatives"][0]["kits"][0]["moves"] == 0
    assert plan.refused(f"{FIND} --reserve 1") == "Everything of number 1 is reserved for J-1 already."
    assert plan.refused(f"{FIND} --reserve 7") == "There is no number 7; 2 were found."


def test_what_another_job_keeps_is_not_found_and_only_a_planner_reserves(plan: Plan) -> None:
    tag = show_tag(plan.rack.kit["wrench"].tag)
    assert "planner" in plan.refused(f"{FIND} --reserve 1", by="F1")
    assert plan.type(f"reserve {tag} --job J-2").code == 0
    answer = plan.type(FIND)
    assert answer.code == 3
    assert "1 wrench of the right head and drive: 1 reserved." in answer.out
    assert "Hire one 1 in square drive wrench giving at least 1,230 lbf·ft" in answer.out
    assert answer.err == "No kit of NORTH does for F-1 in this window as it stands.\n"
    assert plan.type(f"{FIND} --reserve 1").code == 3


def test_a_window_of_ones_own(plan: Plan) -> None:
    first, last = (plan.rack.room.clock().date() + timedelta(days=days) for days in (2, 4))
    answer = plan.type(f"{FIND} --from {first} --to {last}")
    assert f"--from {first} --to {last}" in answer.out
    assert plan.refused(f"{FIND} --from {last} --to {first}") == "The window ends before it starts."
    assert "no joint 'F-9'" in plan.refused("kit find --job J-1 --joint F-9")
    assert "A margin of -1 % makes no sense" in plan.refused(f"{FIND} --margin -1")


def test_all_but_the_command_keeps_to_eighty_columns(plan: Plan) -> None:
    env = {"FLEET_DATABASE": plan.rack.room.settings.database, "FLEET_ACTING": "P1"}
    for more in ((), ("--margin", "60")):
        _code, shown = on_a_terminal(*shlex.split(FIND), *more, env=env)
        long = [line for line in shown.splitlines() if len(line) > EIGHTY and "fleet reserve" not in line]
        assert long == []


def test_templates_are_listed_and_shown(plan: Plan) -> None:
    assert "No joint template on record yet" in plan.type("template list").out
    plan.rack.shop.put(
        records.JointTemplateRow,
        name="Manway",
        bolts=24,
        torque_written="1,900 N·m",
        torque_nm=1900.0,
        heaviest_written="9 kg",
        heaviest_kg=9.0,
    )
    assert plan.type("template list --json").json[0]["template"] == "Manway"
    assert "9 kg" in plan.type("template show manway").out
    assert plan.refused("template show manwya") == (
        "There is no joint template 'manwya'. Did you mean \"Manway\"? See: fleet template list"
    )
