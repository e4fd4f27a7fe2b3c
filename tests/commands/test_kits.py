"""Checking and keeping kits, as it is typed."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from fleet import records
from fleet.measures.tags import show_tag
from fleet.measures.times import local_day, show_day, zone
from tests.commands.typed import Answer, Keyboard, everything
from tests.lists.rack import INCH, PSI_10_000, Rack, Thing, build
from tests.shop import ZONE

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop


@dataclass
class Plan:
    """A kit that fits, a joint to check it for, and a planner at the keyboard."""

    rack: Rack
    keyboard: Keyboard

    def type(self, words: str, by: str = "P1") -> Answer:
        return self.keyboard.type(*shlex.split(words), by=by)

    def check(self, *more: str, **swapped: Thing) -> Answer:
        tags = [thing.tag for thing in (self.rack.kit | swapped).values()]
        return self.keyboard.type("kit", "check", *tags, "--job", "J-1", *more, by="P1")

    def refused(self, words: str, by: str = "P1") -> str:
        before = everything(self.rack.room)
        answer = self.type(words, by=by)
        assert (answer.code, answer.err.count("\n")) == (3, 1), answer
        assert everything(self.rack.room) == before
        return answer.err.strip()


def prose(printed: str) -> str:
    """What was printed, without the ends of its lines."""
    return " ".join(printed.split())


@pytest.fixture
def plan(room: Room, shop: Shop, clock: Clock, capsys: pytest.CaptureFixture[str]) -> Plan:
    clock.now = datetime.now(UTC).replace(microsecond=0)
    rack = build(room, shop)
    shop.put(
        records.JointRow,
        job_id=1,
        mark="F-1",
        bolts=24,
        across_flats_mm=2.375 * INCH,
        torque_written="1000 N·m",
        torque_nm=1000.0,
        loosening_factor=1.5,
        loosening_reason="Rusted studs, four years in salt air",
    )
    return Plan(rack, Keyboard(room.settings.database, capsys))


# --- Checking a kit -----------------------------------------------------------------------------------------


def test_a_kit_that_may_be_used_says_so_with_its_set_pressure_and_the_cautions(plan: Plan) -> None:
    answer = plan.check("--joint", "f-1")

    assert (answer.code, answer.err) == (0, "")
    lines = [" ".join(line.split()) for line in answer.out.splitlines()]
    assert lines[0] == "This kit MAY be used on F-1."
    # 1,000 N·m is 737.56 lbf·ft, and 35 MPa is 5,076.3 psi (NIST SP 811): at 5,076 it would fall short.
    assert "Target torque 737.6 lbf·ft" in lines
    assert "Set pressure 5,077 psi" in lines
    assert "because: Rusted studs, four years in salt air" in prose(answer.out)
    assert any(line.startswith("Loosening may ask 1,10") for line in lines)
    assert "! This is a planning aid only: the maker's manual, the joint procedure" in prose(answer.out)
    # Nobody pipes it into a wider page than a terminal's.
    assert max(map(len, answer.out.splitlines())) <= 80


def test_a_check_in_json(plan: Plan) -> None:
    answer = plan.check("--joint", "F-1", "--json")

    assert answer.code == 0
    assert answer.json["usable"] is True
    assert answer.json["joint"]["target_torque_nm"] == 1000.0
    kit = answer.json["check"]["kit"]
    assert kit["covered"] == "covered"
    assert kit["need"] == {
        "tightening_nm": 1000.0,
        "loosening_nm": 1500.0,
        "needed_nm": 1500.0,
        "governs": "loosening",
    }
    assert kit["set_pressure"]["pressure_mpa"] == pytest.approx(35.0)
    assert kit["circuit"]["ratings"]["advance"]["working_mpa"] == 70.0
    assert [item["findings"] for item in answer.json["check"]["items"]] == [[]] * 6
    assert {answer.json["check"][key] for key in ("instead", "hire", "first")} == {None}
    assert answer.json["source"]
    assert answer.json["assumptions"]
    assert any("surgical emergency" in sentence for sentence in answer.json["cautions"])


def test_one_too_weak_names_what_would_do(plan: Plan) -> None:
    strong = plan.rack.wrench(1900.0, drive_mm=1.5 * INCH)
    socket = plan.rack.socket(1.5 * INCH)
    weak = plan.rack.wrench(1400.0)

    answer = plan.check("--joint", "F-1", wrench=weak)

    assert answer.code == 3
    assert answer.err == "This kit may not be used on F-1 as it stands.\n"
    assert answer.out.startswith("This kit MAY NOT be used on F-1.\n")
    assert "  STOP: Loosening: The kit can give " in answer.out
    said = f"Would do with the rest of this kit: {show_tag(strong.tag)}, "
    printed = prose(answer.out)
    assert printed.count(said) == 1
    assert f"with socket {show_tag(socket.tag)}, which gives 1,401 lbf·ft." in printed
    assert plan.check("--joint", "F-1", "--json", wrench=weak).json["check"]["instead"]["tag"] == strong.tag


def test_where_nothing_would_do_it_says_what_to_hire(plan: Plan) -> None:
    weak = plan.rack.wrench(1900.0)
    words = ("--joint", "F-1", "--loosening-factor", "2.5", "--reason", "Painted over and rusted")

    answer = plan.check(*words, wrench=weak)

    assert answer.code == 3
    assert "Nothing at this site would do. Hire one 1 in square drive wrench giving at least " in prose(
        answer.out
    )


def test_what_must_not_be_put_under_pressure_is_a_stop(plan: Plan) -> None:
    answer = plan.check("--joint", "F-1", hose=plan.rack.thing("hose", mwp_advance_mpa=PSI_10_000))

    assert answer.code == 3
    assert "10,000 psi is 689.5 bar, not 700 bar" in prose(answer.out)


def test_figures_of_ones_own_go_before_the_plan(plan: Plan) -> None:
    own = ("--torque", "900 N*m", "--loosening-factor", "1.2", "--reason", "Greased last year")

    answer = plan.check("--joint", "F-1", *own, "--across-flats", "2 3/8 in", "--json")

    assert answer.json["joint"] == {
        "mark": "F-1",
        "target_torque_nm": 900.0,
        "loosening_factor": 1.2,
        "loosening_reason": "Greased last year",
        "across_flats_mm": pytest.approx(60.325),
        "tolerance_percent": None,
        "measured": None,
    }


# --- Keeping it ---------------------------------------------------------------------------------------------


def test_a_kit_is_kept_listed_and_set_free(plan: Plan) -> None:
    tag = plan.rack.kit["wrench"].tag
    today = local_day(plan.rack.room.clock(), zone(ZONE))
    first, last = today + timedelta(days=3), today + timedelta(days=5)

    kept = plan.type(f"reserve {tag} --job J-1 --joint f-1 --from {first} --to {last}")
    listed = plan.type("reservations --job j-1")
    freed = plan.type(f"set-free {tag} --job j-1 --reason 'Joint taken out of the plan'")

    assert kept.out == f"Reserved 1 item for J-1, {show_day(first)} to {show_day(last)}.\n"
    assert " ".join(listed.out.splitlines()[1].split()).startswith(f"1 J-1 F-1 {show_tag(tag)} wrench W-")
    assert listed.out.rstrip().endswith(f"{show_day(first)}  {show_day(last)}")
    assert (freed.code, freed.out) == (0, f"{show_tag(tag)} is no longer reserved for J-1.\n")
    assert plan.type("reservations --json").json == []


def test_a_reservation_in_json_and_once(plan: Plan) -> None:
    tag = plan.rack.kit["wrench"].tag
    words = f"reserve {tag} --job J-1 --id v1"

    answer = plan.type(f"{words} --json")

    starts = plan.rack.room.clock()
    assert (answer.code, answer.json["job"], answer.json["again"]) == (0, "J-1", False)
    assert answer.json["starts_at"] == starts.isoformat()
    assert answer.json["ends_at"] == (starts + timedelta(days=10)).isoformat()
    assert answer.json["verdicts"] == [{"tag": tag, "findings": []}]
    assert plan.type(words).out.endswith(" This had been reserved before.\n")
    (line,) = plan.type("reservations --json").json
    assert {line[key] for key in ("job", "tag", "reserved_by")} == {"J-1", tag, "Pat Planner"}


def test_what_must_be_seen_to_before_is_said(plan: Plan) -> None:
    overdue = plan.rack.wrench(2000.0, done=400).tag
    answer = plan.type(f"reserve {overdue} --job J-1")
    assert answer.code == 0
    assert f"  SEE TO: {show_tag(overdue)}: Calibration was due " in answer.out


REFUSED = [
    ("kit check {wrench} --job J-1", "Say which joint with --joint, or give its torque with --torque."),
    ("kit check {wrench} --job J-1 --joint G-9", "J-1 has no joint 'G-9'. Its joints: F-1."),
    ("kit check {wrench} --job J-9 --joint F-1", "There is no job 'J-9'"),
    ("kit check 10427-2 --job J-1 --joint F-1", "No item has the tag 10427-2."),
    ("kit check {wrench} --job J-1 --torque '900 N*m'", "No loosening factor is planned"),
    ("kit check {wrench} --job J-1 --joint F-1 --loosening-factor 2", "and its reason belong together"),
    (
        "kit check {wrench} --job J-1 --joint F-1 --torque '900 psi'",
        '"900 psi" is a pressure; a torque was expected',
    ),
    ("kit check {wrench} --job J-1 --joint F-1 --torque 900", "has no unit"),
    ("kit check {wrench} --job J-1 --joint F-1 --across-flats '2 3/8'", "has no unit"),
    (
        "kit check {wrench} --job J-1 --joint F-1 --loosening-factor 9 --reason 'Rusted right through'",
        "A loosening factor of 9 lies outside 0.5 to 5",
    ),
    ("reserve {wrench} --job J-1 --from 2026-02-30", "30 February 2026 does not exist"),
    ("reserve {wrench} --job J-1 --from '2090-05-04 25:00'", "is not a day and time"),
    ("reserve {wrench} --job J-1 --from 2090-05-04", "The window ends before it starts."),
    ("reserve {wrench} --job J-1 --from 2020-05-04 --to 2020-05-05", "The window has already passed."),
    ("reserve {wrench} --job J-1 --from 2090-03-12 --to '2090-03-12 02:30'", "clocks go forward then"),
    ("reserve {wrench} {wrench} --job J-1", "The same item was named twice."),
    ("set-free {wrench} --job J-1 --reason 'Not needed any more'", "is not reserved for J-1"),
    ("set-free {wrench} --job J-1 --reason gone", "Write down why it is set free"),
]


def test_what_cannot_be_is_refused_in_one_sentence(plan: Plan, subtests: pytest.Subtests) -> None:
    tag = plan.rack.kit["wrench"].tag
    for words, said in REFUSED:
        with subtests.test(words):
            assert said in plan.refused(words.format(wrench=tag))


def test_who_has_it_is_named(plan: Plan) -> None:
    tag = plan.rack.kit["wrench"].tag
    plan.type(f"reserve {tag} --job J-1")
    assert f"{show_tag(tag)}: Pat Planner reserved it for J-1 from " in plan.refused(
        f"reserve {tag} --job J-2"
    )
    assert "Fin Fitter is not a planner or keeper" in plan.refused(f"reserve {tag} --job J-2", by="F1")
