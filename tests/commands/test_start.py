"""How the program is started: help, who acts, which database, exit codes, and what fits a terminal."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING, Any

import pytest
import typer
from sqlalchemy import update

from fleet import records
from fleet.commands import app
from fleet.records.base import rows_of
from tests.commands.terminal import COLUMNS, CTRL_C, on_a_terminal
from tests.commands.typed import ROOT, Answer, everything, here, start

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.commands.typed import Desk

# --- Help ---------------------------------------------------------------------------------------------------


def commands() -> Iterator[tuple[str, Any]]:
    """Every command with the words that start it."""

    def walk(words: str, command: Any) -> Iterator[tuple[str, Any]]:  # noqa: ANN401  Typer's own, not public.
        inner = getattr(command, "commands", None)
        if inner is None:
            yield words, command
        for name, found in (inner or {}).items():
            yield from walk(f"{words} {name}".strip(), found)

    yield from walk("", typer.main.get_command(app))


@pytest.mark.parametrize(("words", "command"), [pytest.param(*found, id=found[0]) for found in commands()])
def test_every_command_and_everything_it_takes_is_explained(words: str, command: Any) -> None:  # noqa: ANN401  As above.
    assert words
    sentence = " ".join((command.help or "").split())
    assert sentence[:1].isupper(), words
    assert sentence.endswith("."), words
    unexplained = [taken.name for taken in command.params if not taken.help]
    assert unexplained == [], words


def test_every_sentence_of_help_is_shown_whole() -> None:
    shown: dict[str, str] = {}
    for words, command in commands():
        group = words.rpartition(" ")[0]
        if group not in shown:
            # Without spaces, because a line may be broken at a hyphen.
            shown[group] = "".join(here(*group.split(), "--help").out.split())
        assert "".join(command.help.split("\n\n")[0].split()) in shown[group], words


def test_help_is_shown_when_nothing_is_asked() -> None:
    asked, nothing = start("--help"), start()
    assert asked.code == 0
    assert asked.out in (nothing.out, nothing.err)
    for heading in ("At the counter:", "Upkeep:", "Planning:", "Look up:", "Register:", "Care:"):
        assert heading in asked.out


# --- Exit codes ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("lend", "No such command 'lend'"),
        ("issue", "Missing argument 'TAG'"),
        ("issue 10427-2", "Missing option"),
        ("return 10427-2 --cycles many", "Invalid value for '--cycles'"),
        ("due --colour", "No such option: --colour"),
        ("due --by", "'--by' requires an argument"),
        ("due --site NORTH --database", "'--database' requires an argument"),
    ],
)
def test_misuse_is_2(words: str, said: str) -> None:
    answer = here(*words.split())
    assert (answer.code, answer.out) == (2, "")
    assert said in answer.err


def test_a_refusal_is_3_and_one_sentence(desk: Desk) -> None:
    answer = start("item", "10427-2", FLEET_DATABASE=desk.keyboard.database)
    assert answer == Answer(3, "", "No item has the tag 10427-2.\n")


def test_a_reader_that_has_seen_enough_is_no_trouble(desk: Desk) -> None:
    for _ in range(3):
        desk.wrench()
    command = f"{sys.executable} -m fleet --database '{desk.keyboard.database}' items | head -1"
    done = subprocess.run(["/bin/sh", "-c", command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.split()[0], done.stderr) == (0, "Tag", "")


# --- Who acts, and on which database ------------------------------------------------------------------------


def test_who_acts_and_the_database_may_stand_anywhere(desk: Desk) -> None:
    database, tag = desk.keyboard.database, desk.wrench()
    hold = ["hold", tag, "--reason", "Crack at the drive"]
    for words in (
        ["--database", database, "--by", "K1", *hold],
        [*hold, "--by", "kim keeper", "--database", database],
        ["hold", f"--database={database}", tag, "--by=K1", *hold[2:]],
        ["-d", database, *hold, "--by", "Kim  Keeper"],
    ):
        answer = here(*words)
        assert (answer.code, answer.err) == (0, ""), answer
    from_outside = start(*hold, FLEET_DATABASE=database, FLEET_ACTING="K1")
    assert from_outside.code == 0


def test_whoever_acts_must_say_so(desk: Desk) -> None:
    words = ("hold", desk.wrench(), "--reason", "Crack at the drive")
    assert (
        desk.refused(*words, by=None) == "Say who you are with --by BADGE, or set FLEET_ACTING to your badge."
    )
    assert desk.refused(*words, by="K9") == "Nobody with the badge or name 'K9' is on record."
    with desk.room.act() as db:
        people = rows_of(records.PersonRow)
        db.execute(update(people).where(people.c.badge == "K1").values(active=False))
    assert desk.refused(*words) == "Kim Keeper is no longer active."


def test_looking_needs_nobody(desk: Desk) -> None:
    desk.wrench()
    for words in ("items", "due", "jobs", "people", "sites", "reservations"):
        assert desk.type(words, by=None).code == 0


def test_a_room_without_people_is_set_up_by_whoever_comes(desk: Desk) -> None:
    with desk.room.act() as db:
        db.execute(rows_of(records.RoleRow).delete())
        db.execute(rows_of(records.PersonRow).delete())
    tag = desk.shop.item(desk.model, desk.site)[1]

    answer = desk.type("hold", tag, "--reason", "Crack at the drive", by=None)

    assert answer.code == 0
    with desk.room.look() as db:
        assert [row.person_name for row in db.execute(records.EntryRow.__table__.select())] == ["set-up"]


def test_the_settings_file_may_name_who_acts_and_the_database(desk: Desk, tmp_path: Path) -> None:
    settings = tmp_path / "settings.toml"
    settings.write_text(f'database = "{desk.keyboard.database}"\nacting = "K1"\n')
    words = ("hold", desk.wrench(), "--reason", "Crack at the drive")
    assert start(*words, FLEET_SETTINGS=str(settings)).code == 0


# --- On a terminal ------------------------------------------------------------------------------------------


def lend(desk: Desk, tag: str, keys: str) -> tuple[int, str]:
    words = ("issue", tag, "--to", "F1", "--job", "J-1", "--back", str(desk.day(2)), "--by", "K1")
    return on_a_terminal(*words, keys=keys, env={"FLEET_DATABASE": desk.keyboard.database})


def test_on_a_terminal_it_asks_before_it_issues(desk: Desk) -> None:
    tag = desk.wrench()
    before = everything(desk.room)

    code, shown = lend(desk, tag, "n\n")

    assert (code, everything(desk.room)) == (3, before)
    assert "Issue 1 item to Fin Fitter for J-1? [y/N]" in shown
    assert "Nothing was issued." in shown
    code, shown = lend(desk, tag, "y\n")
    assert code == 0
    assert "Issued: loan 1, 1 item to Fin Fitter for J-1." in shown


def test_whoever_stops_it_at_the_question_issues_nothing(desk: Desk) -> None:
    tag = desk.wrench()
    before = everything(desk.room)

    code, shown = lend(desk, tag, CTRL_C)

    assert (code, everything(desk.room)) == (3, before)
    assert "Nothing was issued." in shown
    assert "Aborted" not in shown


def test_every_printout_fits_a_terminal_of_80_columns(desk: Desk) -> None:
    desk.shop.put(
        records.JointRow,
        job_id=desk.job,
        mark="E-204 shell cover, channel side",
        bolts=24,
        torque_written="4100 lbf·ft",
        torque_nm=5558.9,
        loosening_factor=1.7,
        loosening_reason="Rusted studs, nuts not moved for six years, in salt air all the time",
    )
    long = desk.shop.model("wrench", "W-2000 with a long head, AF 2 3/8 in, second series")
    late = desk.shop.item(long, desk.site, shelf="Behind the door, second shelf from the top")[1]
    kept = desk.wrench()
    desk.type("reserve", kept, "--job", "J-1", "--joint", "E-204 shell cover, channel side")
    desk.type("hold", kept, "--reason", "The reaction arm is bent, and its pin has to be drawn and looked at")
    desk.shop.person("Marla Quistgard", desk.site, "keeper")
    reason = ("--reason", "Cover cut through to the reinforcement near the tool end", "--cause", "cal")
    desk.type("hold", late, *reason, by="Marla Quistgard")
    for words in (
        ["due"],
        ["items"],
        ["item", kept],
        ["job", "J-1"],
        ["reservations"],
        ["people"],
        ["holds"],
        ["doctor"],
        ["issue", late, kept, "--to", "F1", "--job", "J-1", "--back", str(desk.day(1))],
        ["kit", "check", late, kept, "--job", "J-1", "--joint", "E-204 shell cover, channel side"],
    ):
        code, shown = on_a_terminal(*words, env={"FLEET_DATABASE": desk.keyboard.database})
        assert code in (0, 3), shown
        assert max(len(line.rstrip()) for line in shown.splitlines()) <= COLUMNS, shown
        # No word is broken, and no sentence is cut.
        if words[0] == "item":
            assert "pin has to be drawn" in " ".join(shown.split())
        if words[0] == "holds":
            assert {"calibration:", "reinforcement", "Quistgard)"} <= set(shown.split())
