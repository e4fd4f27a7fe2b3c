"""Inspections, competences and checklists, as they are typed."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING

from PIL import Image

from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.rules.checklists import program_checklist
from tests.commands.terminal import CTRL_C, on_a_terminal
from tests.commands.typed import everything
from tests.inspecting import picture

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

    from tests.commands.typed import Desk

HOSE = program_checklist("hose")
GRANT = "competence grant K1 --kind {kind} --task '{task}' --until {until} --evidence 'Instructed on 3 March'"


# --- Inspections --------------------------------------------------------------------------------------------


def test_all_fine_but_for_a_note(desk: Desk, hose: str) -> None:
    answer = desk.type(
        "inspect", hose, "--occasion", "periodic", "--answer", "12=note: dust cap missing", "--all-fine"
    )

    assert (answer.code, answer.err) == (0, "")
    assert answer.out == f"Inspection 1 of {show_tag(hose)}, periodic: note.\n  Inspection is done.\n"
    listed = desk.type("inspections", hose).out
    assert f"Inspections of {show_tag(hose)}\n" in listed
    assert "Kim Keeper" in listed
    due = desk.type("due", "--json").json["lines"]
    assert [line["task"] for line in due if line["tag"] == hose] == ["pressure test"]


def test_a_reject_is_on_hold_at_once(desk: Desk, hose: str) -> None:
    answer = desk.type(
        "inspect", hose, "-o", "after", "-a", "3=reject: blister near the middle", "--all-fine", "--json"
    )

    assert answer.json == {
        "number": 1,
        "tag": hose,
        "occasion": "after event",
        "result": "reject",
        "fulfilled": None,
        "held": True,
        "again": False,
    }
    assert "blister near the middle" in desk.type("holds").out


def test_every_checkpoint_is_shown_as_it_was_asked(desk: Desk, hose: str, tmp_path: Path) -> None:
    shot = tmp_path / "cut.jpg"
    shot.write_bytes(picture())
    desk.type(
        "inspect", hose, "-o", "before use", "-a", "1=reject: cut to the braid", "--all-fine",
        "--photo", f"1={shot}", "-p", str(shot),
    )  # fmt: skip

    answer = desk.type("inspection", "show", "1", "--json")
    shown = desk.type("inspection", "show", "1").out

    points = program_checklist("hose").points
    assert [line["wording"] for line in answer.json["answers"]] == list(points)
    assert [shot["position"] for shot in answer.json["photographs"]] == [1, None]
    assert all(point in shown for point in points)
    digest = answer.json["photographs"][0]["sha256"]
    assert f"Photograph {digest[:16]} (" in shown
    target = tmp_path / "out.jpg"
    assert desk.type("photo", "save", digest[:16], str(target)).out.endswith("is written (image/jpeg).\n")
    with Image.open(target) as kept:
        assert kept.size == (64, 48)
    assert "exists already" in desk.refused("photo", "save", digest[:16], str(target))


def test_a_mistaken_one_is_withdrawn(desk: Desk, hose: str) -> None:
    desk.type("inspect", hose, "-o", "periodic", "--all-fine")

    answer = desk.type("inspection", "withdraw", "1", "--reason", "Another hose was on the bench")

    assert answer.out == (
        f"Entry 2 withdraws inspection 1 of {show_tag(hose)}.\n"
        "  The upkeep that it did is withdrawn with it, and due as before.\n"
    )
    assert "Another hose was on the bench" in desk.type("inspection", "show", "2").out
    assert "withdrawn by 2" in desk.type("inspections", hose).out


def test_a_request_with_an_id_is_carried_out_once(desk: Desk, hose: str) -> None:
    words = ("inspect", hose, "-o", "periodic", "--all-fine", "--id", "i1")
    first, again = desk.type(*words, "--json").json, desk.type(*words, "--json").json
    assert again == first | {"again": True}
    assert desk.type(*words).out.splitlines()[0].endswith(" It had been recorded before.")


# --- Asked at a terminal ------------------------------------------------------------------------------------


def at_the_terminal(desk: Desk, hose: str, keys: str) -> tuple[int, str]:
    env = {"FLEET_DATABASE": desk.keyboard.database, "FLEET_ACTING": "K1"}
    return on_a_terminal("inspect", hose, "-o", "periodic", keys=keys, at="f/n/r:", env=env)


def test_at_a_terminal_every_checkpoint_is_asked(desk: Desk, hose: str) -> None:
    code, shown = at_the_terminal(desk, hose, "F\nx\n\nnote\nx\nLight rub marks\n" + "f\n" * 10)

    assert code == 0, shown
    assert all(f"{at} of 12  {point[:40]}" in shown for at, point in enumerate(HOSE.points, start=1))
    assert f"Inspection 1 of {show_tag(hose)}, periodic: note." in shown
    kept = desk.type("inspection", "show", "1", "--json").json["answers"]
    assert [(one["answer"], one["remark"]) for one in kept[:3]] == [
        ("fine", None),
        ("note", "Light rub marks"),
        ("fine", None),
    ]


def test_ctrl_c_at_a_checkpoint_records_nothing(desk: Desk, hose: str) -> None:
    before = everything(desk.room)
    code, shown = at_the_terminal(desk, hose, CTRL_C)
    assert code == 3
    assert "Nothing was recorded." in shown.splitlines()
    assert everything(desk.room) == before


REFUSED = [
    ("inspect {hose} -o yearly --all-fine", "Known: before use, periodic, after event"),
    ("inspect {hose} -o periodic", "Not every checkpoint is answered; missing: 1, 2"),
    ("inspect {hose} -o periodic -a 1=good --all-fine", "'1=good' is no answer"),
    ("inspect {hose} -o periodic -a 1=reject --all-fine", "needs a remark"),
    ("inspect {hose} -o periodic --all-fine --photo nowhere.jpg", "nowhere.jpg cannot be read"),
    ("inspect {hose} -o periodic --all-fine --photo {fake}", "fake.jpg is no JPEG or PNG picture"),
    (
        "inspect {hose} -o periodic --all-fine --by S1",
        "Sam Safety has no competence for inspection on a",
    ),
    ("inspect {wrench} -o before --all-fine", "fleet competence grant PERSON --kind wrench"),
    ("inspect {hose} -o periodic --all-fine --on 2090-01-01", "is still to come"),
    ("inspect 10427-2 -o periodic --all-fine", "No item has the tag"),
    ("inspection show 9", "There is no inspection 9"),
    ("inspection withdraw 9 --reason 'Never happened at all'", "There is no inspection 9"),
    ("photo save 00000000 out.jpg", "No photograph has a digest"),
    ("done {hose} inspection", "fleet inspect {tag} --occasion periodic --task 'inspection'"),
    ("done {hose} 'pressure test'", "fleet proof-test {tag} --task 'pressure test'"),
    ("checklist show ladder", "is not a kind of equipment"),
    ("checklist show hose --version 4", "Known: 0"),
    ("checklist take-in {wrong} --by S1", "The first row of wrong.csv must be: Kind,Checkpoint."),
    ("checklist take-in nowhere.csv --by S1", "nowhere.csv cannot be read"),
    (GRANT, "is not a safety officer at any site"),
    (GRANT.replace("K1", "S1") + " --by S1", "Sam Safety cannot grant a competence to Sam Safety"),
    (GRANT.replace("{task}", "oiling") + " --by S1", "There is no task 'oiling' for a hose"),
    (GRANT.replace("{until}", "2020-01-01") + " --by S1", "has already passed"),
    (GRANT.replace("{until}", "2099-01-01") + " --by S1", "is more than 10 years ahead; check the year"),
    (GRANT.replace("{kind}", "ladder") + " --by S1", "is not a kind of equipment"),
    (GRANT.replace("Instructed on 3 March", "yes") + " --by S1", "Write down the evidence"),
    ("competence end F1 --kind hose --task inspection --reason 'Left the room' --by S1", "has no competence"),
    ("competence list Nobody", "Nobody with the badge or name 'Nobody'"),
]


def test_what_cannot_be_is_refused_in_one_sentence(
    desk: Desk, hose: str, tmp_path: Path, subtests: pytest.Subtests
) -> None:
    fake, wrong = tmp_path / "fake.jpg", tmp_path / "wrong.csv"
    fake.write_bytes(picture(kind="GIF"))
    wrong.write_text("Kind;Wording\n")
    names = {
        "fake": fake,
        "wrong": wrong,
        "hose": hose,
        "wrench": desk.wrench(),
        "kind": "hose",
        "task": "inspection",
        "until": desk.day(100),
        "tag": show_tag(hose),
    }
    for words, said in REFUSED:
        with subtests.test(words):
            by = None if "--by" in words else "K1"
            typed = shlex.split(words.format(**names))
            assert said.format(**names) in desk.refused(*typed, by=by)


# --- Competences and checklists -----------------------------------------------------------------------------


def test_a_competence_is_granted_renewed_and_ended(desk: Desk, hose: str) -> None:
    assert hose
    later = desk.day(400)
    words = shlex.split(GRANT.format(kind="hoses", task="Inspection", until=later))

    renewed = desk.type(*words, by="S1")
    again = desk.type(*words, by="S1")
    ended = desk.type(
        "competence", "end", "Kim Keeper", "-k", "hose", "-t", "Inspection", "-r", "Moved to East", by="S1"
    )

    said = f"Kim Keeper may do inspection on a hose through {show_day(later)}."
    assert renewed.out == f"{said} It takes the place of an earlier one.\n"
    assert again.out == f"{said} That was on record already.\n"
    assert ended.out == "Kim Keeper may no longer do inspection on a hose.\n"
    listed = desk.type("competence", "list", "--kind", "hose", "--ended", "--json").json
    states = {(one["task"], one["state"], one["end_reason"]) for one in listed}
    assert states == {
        ("inspection", "ended", "Renewed."),
        ("inspection", "ended", "Moved to East"),
        ("inspection before use", "current", None),
        ("pressure test", "current", None),
    }
    assert "has no competence for inspection on a hose" in desk.refused(
        "inspect", hose, "-o", "periodic", "--all-fine"
    )


def test_what_ends_within_sixty_days_is_shown_in_time(desk: Desk, hose: str) -> None:
    assert hose
    for task, days in (("inspection", 60), ("inspection before use", 61)):
        desk.type(*shlex.split(GRANT.format(kind="hose", task=task, until=desk.day(days))), by="S1")
    found = desk.type("competence", "list", "--soon", "--json").json
    assert [(one["task"], one["state"]) for one in found] == [("inspection", "ends soon")]
    assert "ends soon" in desk.type("competence", "list", "Kim Keeper").out


def test_the_rooms_own_checklist_is_taken_in_and_the_old_one_kept(desk: Desk, tmp_path: Path) -> None:
    file = tmp_path / "own.csv"
    file.write_text(desk.type("checklist", "show", "hose", "--csv").out + "hose,Our sleeve is fitted\n")

    taken = desk.type("checklist", "take-in", str(file), by="S1")
    again = desk.type("checklist", "take-in", str(file), by="S1")

    assert taken.out == "Version 1 of the checklist for a hose is now in use: 13 checkpoints.\n"
    assert again.out.startswith("Version 1 of the checklist for a hose says the same")
    shown = desk.type("checklist", "show", "hose").out
    assert "version 1, from own.csv" in shown
    assert "Our sleeve is fitted" in shown
    older = desk.type("checklist", "show", "hose", "--version", "0", "--json").json
    assert older["points"] == list(program_checklist("hose").points)
