"""Upkeep, holds and concessions, as they are typed."""

from __future__ import annotations

import shlex
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from fleet.lists.items import find_item
from fleet.measures.tags import show_tag
from fleet.measures.times import add_months, show_day
from tests.proofs import inspected

if TYPE_CHECKING:
    import pytest

    from tests.commands.typed import Desk

CONCEDE = (
    "concession {tag} --task calibration --job J-1 --asked-by K1 --because 'no other' "
    "--reason 'Leak at the manway, no other in reach'"
)


def lend(desk: Desk, tag: str, days: int = 2) -> None:
    words = ("issue", tag, "--to", "F1", "--job", "J-1", "--back", str(desk.day(days)), "--yes")
    assert desk.type(*words).code == 0


# --- What is due --------------------------------------------------------------------------------------------


def test_what_is_due_in_a_table(desk: Desk) -> None:
    late, soon, never, used = desk.wrench(400), desk.wrench(360), desk.wrench(None), desk.wrench()
    lend(desk, used)
    desk.type("return", used, "--cycles", "5100")

    answer = desk.type("due", "--within", "2w")

    assert (answer.code, answer.err) == (0, "")
    title, head, *lines = answer.out.splitlines()
    assert title == f"North tool room, {show_day(desk.today)}: 3 overdue, 1 due within 2w"
    assert head.split() == ["Tag", "What", "Task", "When", "Where"]
    shown = {line.split()[1]: line for line in lines}
    assert "OVERDUE" in shown[show_tag(never)]
    assert "never done" in shown[show_tag(never)]
    assert show_day(add_months(desk.day(-400), 12)) in shown[show_tag(late)]
    assert "by use: 5,100 of 5,000 cycles" in shown[show_tag(used)]
    assert shown[show_tag(soon)].startswith("due ")


def test_what_is_due_in_json(desk: Desk) -> None:
    tag = desk.wrench(360)

    answer = desk.type("due", "--site", "north", "--json")

    assert answer.code == 0
    assert (answer.json["site"], answer.json["as_of"]) == ("NORTH", str(desk.today))
    assert answer.json["lines"] == [
        {
            "tag": tag,
            "kind": "wrench",
            "model": "W-2000",
            "serial": answer.json["lines"][0]["serial"],
            "task": "calibration",
            "stop": "soft",
            "shelf": "A1",
            "holder": None,
            "job": None,
            "back_on": None,
            "on_hold": False,
            "last_done_on": str(desk.day(-360)),
            "due_on": desk.year_on(-360),
            "due_cycles": 5000,
            "due_minutes": None,
            "cycles": 0,
            "minutes": 0,
            "use_left": 1.0,
            "forecast_on": None,
            "first_on": desk.year_on(-360),
            "recent_cycles": 0,
            "recent_minutes": 0,
            "recent_days": 182,
            "counts_from": "last done",
            "proved_by": "note",
            "overdue": False,
            "by": "calendar",
            "never_done": False,
        }
    ]


def test_judged_on_another_day(desk: Desk) -> None:
    desk.wrench(300)
    then = str(desk.day(80))
    assert desk.type("due").out == f"North tool room, {show_day(desk.today)}: 0 overdue, 0 due within 30d\n"
    assert desk.type("due", "--as-of", then, "--json").json["lines"][0]["overdue"] is True


def test_who_has_it_and_what_is_on_hold_is_said(desk: Desk) -> None:
    out, held = desk.wrench(360), desk.wrench(361)
    lend(desk, out)
    desk.type("hold", held, "--reason", "Crack at the drive", "--cause", "inspection")

    shown = desk.type("due").out

    assert f"Fin Fitter, J-1, back {show_day(desk.day(2))}" in shown
    assert "A1, on hold" in shown


# --- Done, and out of service -------------------------------------------------------------------------------


def test_done_says_when_it_is_due_next(desk: Desk) -> None:
    tag = desk.wrench(None)

    answer = desk.type("done", tag, "Calibration", "--note", "Certificate 7781")

    next_on = show_day(add_months(desk.today, 12))
    assert (answer.code, answer.out) == (
        0,
        f"Calibration of {show_tag(tag)}: next due {next_on} or at 5,000 cycles.\n",
    )


def test_done_in_json_and_once(desk: Desk) -> None:
    tag = desk.wrench(None)
    words = ("done", tag, "calibration", "--on", str(desk.day(-3)), "--id", "d1")

    answer = desk.type(*words, "--json")

    assert answer.json == {
        "tag": tag,
        "task": "calibration",
        "done_on": str(desk.day(-3)),
        "due_on": desk.year_on(-3),
        "due_cycles": 5000,
        "due_minutes": None,
        "entry": 1,
        "again": False,
    }
    assert desk.type(*words, "--json").json == answer.json | {"again": True}
    assert desk.type(*words).out.endswith(" It had been recorded before.\n")


def test_a_retired_item_that_is_still_reserved_says_so(desk: Desk) -> None:
    tag = desk.wrench()
    desk.type("reserve", tag, "--job", "J-1")

    answer = desk.type("retire", tag, "--reason", "Drive worn beyond repair")

    assert answer.code == 0
    assert answer.out.startswith(f"{show_tag(tag)} is retired.\n  It is still reserved for J-1 from ")
    assert desk.type("items", "--json").json == []
    assert desk.type("items", "--retired", "--json").json[0]["retired_on"] == str(desk.today)


# --- Holds and concessions ----------------------------------------------------------------------------------


def test_a_hold_keeps_it_in_until_it_is_released_with_evidence(desk: Desk) -> None:
    tag = desk.wrench()
    lend(desk, tag)

    held = desk.type("hold", tag, "--reason", "Maker's notice 44", "--cause", "rec")
    with desk.room.look() as db:
        item = find_item(db, tag)
    seen = inspected(desk.shop, item.id, datetime.now(UTC) + timedelta(seconds=1))
    words = ("--inspection", str(seen), "--words", "Inspected, not concerned")
    released = desk.type("release", tag, *words, "--json", by="S1")

    assert held.out == (f"{show_tag(tag)} is on hold. It is out with Fin Fitter for J-1: call it back.\n")
    told = released.json["item"]
    assert (released.code, told["on_hold"], told["holder"]) == (0, False, "Fin Fitter")


def test_a_hold_on_what_a_job_waits_for_tells_the_planner(desk: Desk) -> None:
    tag = desk.wrench()
    desk.type("reserve", tag, "--job", "J-1")
    assert "It is reserved for J-1 from " in desk.type("hold", tag, "-r", "Crack at the drive").out


def test_a_concession_by_a_safety_officer_lets_one_item_out_for_one_job(desk: Desk) -> None:
    tag = desk.wrench(400)

    answer = desk.type(*shlex.split(CONCEDE.format(tag=tag)), "--hours", "8", "--json", by="S1")

    assert answer.code == 0
    assert {key: answer.json[key] for key in ("tag", "task", "job")} == {
        "tag": tag,
        "task": "calibration",
        "job": "J-1",
    }
    shown = " ".join(desk.type("item", tag).out.split())
    assert "Conceded calibration for J-1 until " in shown
    assert "Today stays in" in shown
    lend(desk, tag, days=0)


REFUSED = [
    ("due --site SOUTH", "There is no site 'SOUTH'. Known: NORTH."),
    ("due --within soon", "write it like 30d or 6w"),
    ("due --as-of 2026-13-01", "has no month from 1 to 12"),
    ("done {tag} oiling", "has no upkeep task 'oiling'. Its tasks: calibration."),
    ("done {tag} calibration --on 2090-01-01", "is still to come"),
    ("done {tag} calibration --on 1990-01-01", "was only received on"),
    ("done {tag} calibration --on 2025-02-29", "29 February 2025 does not exist"),
    ("done 10427-2 calibration", "No item has the tag 10427-2."),
    ("retire {tag} --reason worn", "Write down why it is retired"),
    ("retire {out} --reason 'Drive worn beyond repair'", "Take it back first."),
    ("hold {tag} --reason bent", "Write down why it is kept in"),
    ("hold {tag} --reason 'Arm is bent' --cause rust", "Known: damaged, inspection, calibration"),
    ("release {tag} --inspection 1 --words 'Inspected and found sound'", "is not on hold"),
    ("release {tag} --words 'Inspected and found sound'", "Name one thing that shows it sound"),
    ("release {tag} --words 'Found sound' --repair 1 --inspection 2", "Name one thing that shows it sound"),
    (CONCEDE, "is not a safety officer at North tool room"),
    (CONCEDE + " --by S1", "is not overdue; it needs no concession"),
    (CONCEDE.replace("K1", "S1") + " --by S1", "Sam Safety cannot grant what Sam Safety asked for"),
    (CONCEDE + " --by S1 --hours 25", "from 1 to 24 hours, not 25"),
    (CONCEDE.replace("no other'", "in a hurry'", 1) + " --by S1", "is not a reason for a concession"),
]


def test_what_cannot_be_is_refused_in_one_sentence(desk: Desk, subtests: pytest.Subtests) -> None:
    tag, out = desk.wrench(), desk.wrench()
    lend(desk, out)
    for words, said in REFUSED:
        with subtests.test(words):
            by = None if "--by" in words else "K1"
            assert said in desk.refused(*shlex.split(words.format(tag=tag, out=out)), by=by)
