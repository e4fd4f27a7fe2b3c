"""At the counter, as it is typed: issue, return, and the ledger of use."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from fleet import records
from fleet.measures.tags import show_tag

if TYPE_CHECKING:
    import pytest

    from tests.commands.typed import Answer, Desk


def out(desk: Desk, *tags: str, request: str = "i1") -> Answer:
    back = str(desk.day(2))
    return desk.type(
        "issue", *tags, "--to", "F1", "--job", "J-1", "--back", back, "--yes", "--id", request, "--json"
    )


# --- Issue --------------------------------------------------------------------------------------------------


def test_what_goes_out_is_shown_and_issued(desk: Desk) -> None:
    tag = desk.wrench()

    words = ("issue", tag, "--to", "fin fitter", "--job", "j-1", "--back", str(desk.day(2)), "--yes")
    answer = desk.type(*words)

    assert (answer.code, answer.err) == (0, "")
    assert f"{show_tag(tag)}  goes out" in answer.out
    assert answer.out.endswith("Issued: loan 1, 1 item to Fin Fitter for J-1.\n")


def test_an_issue_in_json(desk: Desk) -> None:
    tag = desk.wrench()

    answer = out(desk, tag)

    assert answer.code == 0
    assert answer.json == {
        "issued": True,
        "loan": 1,
        "verdicts": [{"tag": tag, "findings": []}],
        "again": False,
    }


def test_what_stays_in_says_why_and_nothing_is_issued(desk: Desk) -> None:
    good, bad = desk.wrench(), desk.wrench(400)
    words = ("issue", good, bad, "--to", "F1", "--job", "J-1", "--back", str(desk.day(2)), "--yes")

    assert desk.refused(*words) == "Nothing was issued. Leave out what stays in, or see to it first."
    shown = desk.type(*words).out
    assert f"{show_tag(good)}  goes out" in shown
    assert f"{show_tag(bad)}  STAYS IN  Calibration was due " in shown
    answer = desk.type(*words, "--json")
    assert (answer.code, answer.json["issued"]) == (3, False)
    (finding,) = answer.json["verdicts"][1]["findings"]
    assert (finding["severity"], finding["code"], finding["about"]) == ("soft", "overdue", bad)


def test_nobody_at_the_keyboard_issues_nothing(desk: Desk) -> None:
    words = ("issue", desk.wrench(), "--to", "F1", "--job", "J-1", "--back", str(desk.day(2)))
    assert desk.refused(*words) == "Nothing was issued. Say --yes to issue."


def test_a_request_that_is_repeated_is_carried_out_once(desk: Desk) -> None:
    tag = desk.wrench()
    first = out(desk, tag)

    again = out(desk, tag)

    assert (again.code, again.json) == (0, first.json | {"verdicts": [], "again": True})
    words = ("issue", tag, "--to", "F1", "--job", "J-1", "--back", str(desk.day(2)), "--id", "i1", "--yes")
    assert desk.type(*words).out == (
        "Issued: loan 1, 1 item to Fin Fitter for J-1. It had been issued before.\n"
    )
    with desk.room.look() as db:
        assert db.execute(select(func.count(records.LoanRow.id))).scalar() == 1


# --- Return -------------------------------------------------------------------------------------------------


def test_a_return_books_use_and_says_so(desk: Desk) -> None:
    tag = desk.wrench()
    out(desk, tag)

    answer = desk.type("return", show_tag(tag), "--cycles", "40", "--minutes", "90")

    assert (answer.code, answer.err) == (0, "")
    assert answer.out == (
        f"{show_tag(tag)} is back: 40 cycles and 90 pump minutes booked, 40 cycles and 90 pump minutes in "
        "all.\n"
    )


def test_a_return_in_json(desk: Desk) -> None:
    tag = desk.wrench()
    out(desk, tag)

    answer = desk.type("return", tag, "-c", "5000", "--condition", "dam", "--note", "Arm bent", "--json")

    assert answer.code == 0
    assert answer.json == [
        {
            "tag": tag,
            "cycles": 5000,
            "minutes": 0,
            "total_cycles": 5000,
            "total_minutes": 0,
            "due_by_use": ["calibration"],
            "held": True,
            "again": False,
            "breakouts": [],
        }
    ]


def test_a_return_says_what_is_to_be_done_next(desk: Desk) -> None:
    used, worn, bent = desk.wrench(), desk.wrench(), desk.wrench()
    out(desk, used, worn, bent)

    assert "Calibration is now due by use: it stays in until that is done." in (
        desk.type("return", used, "-c", "5000").out
    )
    assert f"To keep it in: fleet hold {show_tag(worn)}" in (
        desk.type("return", worn, "-c", "1", "--condition", "needs-attention").out
    )
    assert f"fleet release {show_tag(bent)} --inspection" in (
        desk.type("return", bent, "-c", "1", "--condition", "damaged", "--note", "Arm bent").out
    )


def test_all_items_of_one_return_come_back_or_none(desk: Desk) -> None:
    first, second = desk.wrench(), desk.wrench()
    out(desk, first)

    said = desk.refused("return", first, second, "--cycles", "10")

    assert said == (
        f"{show_tag(second)} is not out, so it cannot be returned. It belongs on shelf A1 at NORTH."
    )


def test_a_return_that_is_repeated_is_booked_once(desk: Desk) -> None:
    tag = desk.wrench()
    out(desk, tag)
    words = ("return", tag, "--cycles", "10", "--id", "r1")
    desk.type(*words)

    again = desk.type(*words)

    assert again.code == 0
    assert again.out.endswith("10 cycles and 0 pump minutes in all. It had been taken back before.\n")


# --- The ledger ---------------------------------------------------------------------------------------------


def test_use_is_noted_reversed_and_shown(desk: Desk) -> None:
    tag = desk.wrench()

    noted = desk.type("note-use", tag, "--cycles", "400", "--note", "Test run after repair", "--json")
    entry = str(noted.json["entry"])
    taken_back = desk.type("reverse-use", entry, "--reason", "Typed one nought too many")

    assert noted.json == {
        "entry": int(entry),
        "tag": tag,
        "cycles": 400,
        "minutes": 0,
        "total_cycles": 400,
        "total_minutes": 0,
        "again": False,
    }
    assert taken_back.out == (
        f"Entry {int(entry) + 1} reverses entry {entry}: {show_tag(tag)} stands at 0 cycles and 0 pump "
        "minutes.\n"
    )
    ledger = desk.type("usage", tag, "--json").json
    assert [(e["cycles"], e["minutes"], e["reverses"], e["reversed_by"]) for e in ledger["entries"]] == [
        (-400, 0, int(entry), None),
        (400, 0, None, int(entry) + 1),
    ]
    assert ledger["entries"][0]["used_on"] == str(desk.today)
    shown = desk.type("usage", tag).out.splitlines()
    assert shown[0] == f"{show_tag(tag)}: 0 cycles and 0 pump minutes in all"
    assert shown[1].split() == ["Entry", "Day", "Job", "Cycles", "Pump", "min", "Remark"]


# --- Refused, with one sentence and nothing changed ---------------------------------------------------------


REFUSED = [
    ("issue 99999 --to F1 --job J-1 --back {soon} --yes", "its last figure does not fit"),
    ("issue 10427-2 --to F1 --job J-1 --back {soon} --yes", "No item has the tag 10427-2."),
    ("issue {in} --to F9 --job J-1 --back {soon} --yes", "Nobody with the badge or name 'F9'"),
    ("issue {in} --to F1 --job J-9 --back {soon} --yes", "There is no job 'J-9'"),
    ("issue {in} --to F1 --job J-1 --back 2026-02-30 --yes", "30 February 2026 does not exist"),
    ("issue {in} --to F1 --job J-1 --back 03/04/2027 --yes", "can be read in more than one way"),
    ("issue {in} --to F1 --job J-1 --back 2020-01-01 --yes", "1 Jan 2020, has already passed"),
    ("issue {in} {in} --to F1 --job J-1 --back {soon} --yes", "The same item was named twice"),
    ("return {in} --cycles 1", "is not out, so it cannot be returned"),
    ("return {out}", "Say how much they were used"),
    ("return {out} --cycles 1 --as-planned", "Give either the use or --as-planned"),
    ("return {out} --as-planned", "No use was planned for"),
    ("return {out} --cycles -1", "Use cannot be negative"),
    ("return {out} --cycles 100001", "more than one loan can hold"),
    ("return {out} --cycles 1 --condition broken", "Known: fine, needs attention, damaged"),
    ("return {out} --cycles 1 --condition damaged", "Say with --note what is damaged"),
    ("note-use {in} --cycles 1 --note short", "Write down where this use comes from"),
    ("note-use {in} --cycles 1 --note 'On a job sheet' --on 2090-01-01", "is still to come"),
    ("note-use {in} --cycles 1 --note 'On a job sheet' --on 31.12.2025", "2025-12-31 for 31 Dec 2025"),
    ("reverse-use 77 --reason 'Typed one nought too many'", "There is no usage entry 77"),
]


def test_what_cannot_be_is_refused_in_one_sentence(desk: Desk, subtests: pytest.Subtests) -> None:
    inside, outside = desk.wrench(), desk.wrench()
    out(desk, outside)
    chosen = {"in": inside, "out": outside, "soon": str(desk.day(2))}
    for words, said in REFUSED:
        with subtests.test(words):
            assert said in desk.refused(*shlex.split(words.format(**chosen)))


def test_only_a_keeper_stands_at_the_counter(desk: Desk) -> None:
    tag = desk.wrench()
    words = ("issue", tag, "--to", "F1", "--job", "J-1", "--back", str(desk.day(2)), "--yes")
    for badge in ("P1", "S1", "F1"):
        assert "is not a keeper at North tool room" in desk.refused(*words, by=badge)
