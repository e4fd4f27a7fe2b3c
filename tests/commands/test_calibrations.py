"""Sending away, certificates, intervals and limits, as they are typed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet import records
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from tests.commands.terminal import COLUMNS, on_a_terminal
from tests.digital import HOSTILE, admin, dcc, result

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from tests.commands.typed import Answer, Desk

POINTS = (
    "stage,pressure (MPa),torque (N·m),expanded uncertainty (N·m)\n"
    "as found,20,606,6\nas found,40,1210,10\nas found,70,2110,15\n"
)
BAD = POINTS.replace("1210", "1310")
LEFT = "as left,20,602,6\nas left,40,1203,10\nas left,70,2103,15\n"
SAID = ("--reference", "Torque transducer 5 kN·m", "--traceability", "National standard, certificate T-9")


@pytest.fixture
def laboratory(desk: Desk) -> Desk:
    """The desk, with people who may accept certificates."""
    with desk.room.look() as db:
        asked = select(records.PersonRow.id).where(records.PersonRow.badge.in_(["K1", "S1"]))
        people = db.execute(asked).scalars().all()
    for person in people:
        desk.shop.put(
            records.CompetenceRow,
            person_id=person,
            kind="wrench",
            task="calibration",
            expires_on=desk.day(100),
            evidence="Course on torque calibration",
            granted_at=desk.room.clock(),
        )
    return desk


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, text in (("good.csv", POINTS), ("bad.csv", BAD), ("left.csv", BAD + LEFT)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "scan.pdf").write_bytes(b"%PDF-1.7 scanned")
    return tmp_path


def words(desk: Desk, tag: str, file: Path | None, number: str = "C-1", *more: str) -> Sequence[str]:
    given = ("--file", str(file)) if file else ()
    told = ("--number", number, "--laboratory", "Bench Lab", "--on", str(desk.today))
    return ("certificate", "take-in", tag, *given, *told, *SAID, *more)


RULE = ("--rule", "guard band U", "--tolerance", "3")


def taken(desk: Desk, tag: str, file: Path, *more: str) -> Answer:
    answer = desk.type(*words(desk, tag, file), *RULE, *more)
    assert answer.code == 0, answer
    return answer


# --- Away ---------------------------------------------------------------------------------------------------


def test_sent_away_listed_and_back(laboratory: Desk) -> None:
    tag = laboratory.wrench()
    gauge = laboratory.shop.item(laboratory.shop.model("gauge"), laboratory.site)[1]

    sent = laboratory.type(
        *("send", tag, "--to", "Bench Lab", "--for", "cal", "--rule", "guard-band-u", "--tolerance", "3"),
        *("--gauge", gauge, "--wanted", str(laboratory.day(20))),
    )

    assert sent.code == 0
    assert sent.out == (
        f"{show_tag(tag)} is away at Bench Lab for calibration, wanted back {show_day(laboratory.day(20))}.\n"
        f"  Its certificate will be judged by guard band U, ±3 %, paired with gauge {show_tag(gauge)}.\n"
    )
    listed = laboratory.type("away")
    assert show_tag(tag) in listed.out
    assert "calibration, Bench Lab" in listed.out
    (line,) = laboratory.type("away", "--json").json["lines"]
    assert (line["tag"], line["decision_rule"], line["overdue"]) == (tag, "guard band U", False)

    back = laboratory.type("back", tag)
    assert back.out.startswith(f"{show_tag(tag)} is back from Bench Lab after 0 days.")
    assert "certificate is still to come" in back.out
    assert "Nothing is away." in laboratory.type("away").out


def test_what_cannot_be_sent(laboratory: Desk) -> None:
    tag = laboratory.wrench()
    assert "Choose now" in laboratory.refused("send", tag, "--to", "Bench Lab", "--for", "calibration")
    assert "not a decision rule" in laboratory.refused(
        "send", tag, "--to", "X", "--for", "calibration", "--rule", "by eye", "--tolerance", "3"
    )
    assert "Known: calibration, repair" in laboratory.refused("send", tag, "--to", "X", "--for", "fun")
    assert "is not away" in laboratory.refused("back", tag)
    assert laboratory.type("send", tag).code == 2


# --- Certificates -------------------------------------------------------------------------------------------


def test_a_certificate_from_the_file_to_the_chart(laboratory: Desk, folder: Path) -> None:
    tag = laboratory.wrench()

    answer = taken(laboratory, tag, folder / "good.csv", "--scan", str(folder / "scan.pdf"))

    assert f"Certificate C-1 of wrench {show_tag(tag)} is taken in as number 1." in answer.out
    assert "As found: pass by guard band U; worst at 20 MPa" in answer.out
    assert "fleet certificate accept 1" in answer.out

    accepted = laboratory.type("certificate", "accept", "1")

    assert accepted.code == 0
    assert "is accepted (pass). Next calibration:" in accepted.out
    assert "Its own chart now runs from 20 MPa to 70 MPa." in accepted.out
    shown = laboratory.type("certificate", "show", "1")
    assert "accepted by Kim Keeper" in shown.out
    assert "Kept: good.csv" in shown.out
    assert "Kept: scan.pdf, 16 bytes, sha256 " in shown.out
    whole = laboratory.type("certificate", "show", "1", "--json").json
    assert [point["found_si"] for point in whole["points"]] == [606, 1210, 2110]
    assert [file["media_type"] for file in whole["files"]] == ["text/csv", "application/pdf"]
    assert "C-1, Bench Lab" in laboratory.type("certificates", tag).out
    assert laboratory.type("certificates", tag, "--json").json[0]["standing"] == "accepted"


def test_a_gauge_is_shown_in_its_own_unit(laboratory: Desk) -> None:
    laboratory.shop.task("calibration", "gauge", every_months=12)
    gauge = laboratory.shop.item(laboratory.shop.model("gauge"), laboratory.site)[1]
    point = ("--point", "as found; 400 bar; 403 bar; 2 bar")
    answer = laboratory.type(*words(laboratory, gauge, None), "--rule", "simple", *point)
    assert answer.code == 0, answer
    shown = laboratory.type("certificate", "show", "1").out
    # EN 837-1: class 1.6 of a span of 1,000 bar.
    assert " ".join(shown.split()).endswith("400 bar 403 bar 400 bar +3 bar ±16 bar 2 bar pass")


def test_a_failure_as_found_says_what_follows(laboratory: Desk, folder: Path) -> None:
    tag = laboratory.wrench()
    answer = taken(laboratory, tag, folder / "left.csv")
    assert "As found: fail by guard band U" in answer.out
    assert "As left: pass by guard band U" in answer.out
    assert "It is on hold now, and impact review 1 is open." in answer.out
    accepted = laboratory.type("certificate", "accept", "1").out
    assert "It is still on hold. Release it with:\n" in accepted
    assert accepted.endswith(f"fleet release {show_tag(tag)} --certificate 1 --words '...'\n")
    evidence = ("--certificate", "1", "--words", "Adjusted by the laboratory and within tolerance")
    assert laboratory.type("release", tag, *evidence).code == 0


def test_what_failed_cannot_be_accepted_and_is_refused(laboratory: Desk, folder: Path) -> None:
    tag = laboratory.wrench()
    assert "It cannot be accepted" in taken(laboratory, tag, folder / "bad.csv").out
    assert "cannot be accepted" in laboratory.refused("certificate", "accept", "1", "--note", "Needed today")
    answer = laboratory.type(
        "certificate", "refuse", "1", "--reason", "The serial number on it is another one"
    )
    assert answer.out.endswith("is refused: it counts for nothing.\n")


def test_points_typed_one_by_one_and_json(laboratory: Desk) -> None:
    tag = laboratory.wrench()
    points = ("as found; 200 bar; 606 N·m; 1 %", "as found; 400 bar; 1210 N·m; 1 %")
    typed = [word for point in points for word in ("--point", point)]
    answer = laboratory.type(*words(laboratory, tag, None), *RULE, *typed, "--json")
    assert answer.code == 0, answer
    assert (answer.json["as_found"], answer.json["number"]) == ("pass", 1)
    assert answer.json["points"][0]["error_percent"] == pytest.approx(1.0)


def test_a_digital_certificate_brings_its_own_words(laboratory: Desk, tmp_path: Path) -> None:
    tag = laboratory.wrench(serial="HW-1")
    file = tmp_path / "cert.xml"
    file.write_bytes(dcc(result(), administrative=admin(day=str(laboratory.today))))
    answer = laboratory.type("certificate", "take-in", tag, "--file", str(file), *SAID, *RULE, "--json")
    assert answer.code == 0, answer
    assert (answer.json["certificate"], answer.json["as_found"]) == ("DCC-77", "pass")
    other = laboratory.wrench(serial="HW-2")
    assert "another item's" in laboratory.refused(
        "certificate", "take-in", other, "--file", str(file), *SAID, *RULE
    )


def test_hostile_and_broken_files_change_nothing(laboratory: Desk, tmp_path: Path) -> None:
    tag, file = laboratory.wrench(), tmp_path / "cert.xml"
    for name in ("billion laughs", "external entity", "deep nesting", "wrong namespace", "empty"):
        content, said = HOSTILE[name]
        file.write_bytes(content)
        assert said in laboratory.refused(*words(laboratory, tag, file), *RULE)
    assert "cannot be read" in laboratory.refused(*words(laboratory, tag, tmp_path / "none.csv"), *RULE)
    file.write_bytes(b"MZ\x90\0 no text")
    assert "UTF-8" in laboratory.refused(*words(laboratory, tag, file), *RULE)
    assert "no PDF" in laboratory.refused(
        *words(laboratory, tag, None, "C-1", "--scan", str(file)),
        "--point",
        "as found; 200 bar; 600 N·m",
        *RULE,
    )


def test_drift_as_a_table_a_picture_and_json(laboratory: Desk, folder: Path) -> None:
    tag = laboratory.wrench()
    assert "no drift yet" in laboratory.refused("certificate", "drift", tag)
    taken(laboratory, tag, folder / "left.csv")
    picture = folder / "drift.svg"
    answer = laboratory.type("certificate", "drift", tag, "--picture", str(picture))
    assert "+9.17 %" in answer.out  # 1,310 for 1,200 N·m.
    assert answer.out.endswith(f"Drawn in {picture}.\n")
    assert picture.read_text(encoding="utf-8").startswith("<svg ")
    assert laboratory.type("certificate", "drift", tag, "--json").json["of"] == "the chart's torque"
    nowhere = str(folder / "none" / "x.svg")
    assert "cannot be written" in laboratory.refused("certificate", "drift", tag, "--picture", nowhere)


# --- Intervals and limits -----------------------------------------------------------------------------------


def test_an_interval_proposed_listed_and_taken(laboratory: Desk, folder: Path) -> None:
    tag = laboratory.wrench(serial="HW-1")
    taken(laboratory, tag, folder / "good.csv")
    answer = laboratory.type("interval", "propose", tag, "--method", "staircase")
    assert answer.code == 0, answer
    assert "Proposed  15 months" in answer.out
    assert "staircase, ILAC-G24 method 1" in answer.out
    assert "12 to 15 months" in laboratory.type("interval", "list").out
    assert "not a safety officer" in laboratory.refused("interval", "take", "1", "--reason", "Sound figures")
    done = laboratory.type("interval", "take", "1", "--reason", "Sound figures", by="S1")
    assert done.out == f"Proposal 1 is taken: calibration of wrench {show_tag(tag)} every 15 months.\n"
    assert laboratory.type("interval", "list").out == "No proposal.\n"
    assert laboratory.type("interval", "list", "--all", "--json").json[0]["choice"] == "taken"
    assert "Interval proposal 1" in laboratory.type("limit", "list", tag).out


def test_an_interval_of_a_kind_declined(laboratory: Desk, folder: Path) -> None:
    taken(laboratory, laboratory.wrench(), folder / "good.csv")
    answer = laboratory.type("interval", "propose", "--kind", "wrenches", "--target", "0.9", "--json")
    assert (answer.code, answer.json["proposed_months"]) == (0, 12)
    answer = laboratory.type("interval", "decline", "1", "--reason", "Only one certificate so far", by="S1")
    assert answer.out == "Proposal 1 is declined; calibration of every wrench stays as it is.\n"


def test_wrong_questions_about_intervals(laboratory: Desk) -> None:
    tag = laboratory.wrench()
    assert "--kind or --model" in laboratory.refused("interval", "propose")
    assert "--kind or --model" in laboratory.refused("interval", "propose", tag, "--kind", "wrench")
    assert "36 months" in laboratory.refused("interval", "propose", tag, "--longest", "37")
    assert "not a method" in laboratory.refused("interval", "propose", tag, "--method", "guess")
    assert "no proposal 5" in laboratory.refused(
        "interval", "take", "5", "--reason", "Sound figures", by="S1"
    )


def test_a_limit_set_listed_and_ended(laboratory: Desk) -> None:
    tag = laboratory.wrench()
    told = ("--reason", "Drifts faster than others", "--document", "Memo TR-12")
    answer = laboratory.type("limit", "set", tag, "--task", "calibration", "--months", "6", *told, by="S1")
    assert answer.code == 0, answer
    assert f"Calibration of {show_tag(tag)} goes by 6 months. Before, it was 12 months or" in answer.out
    assert "Memo TR-12: Drifts faster than others" in laboratory.type("limit", "list").out
    assert "needs a clock" in laboratory.refused("limit", "set", tag, "--task", "calibration", *told, by="S1")
    ended = laboratory.type(
        "limit", "end", tag, "--task", "calibration", "--reason", "Drift has stopped", by="S1"
    )
    assert "goes by 12 months or 5,000 cycles" in ended.out
    assert laboratory.type("limit", "list").out == "No item has a limit of its own.\n"


@pytest.mark.parametrize(
    "typed",
    [
        *(("send",), ("back",), ("away",), ("certificates",)),
        *(("certificate", one) for one in ("take-in", "accept", "refuse", "show", "drift")),
        *(("interval", one) for one in ("propose", "take", "decline", "list")),
        *(("limit", one) for one in ("set", "end", "list")),
    ],
)
def test_the_help_fits_eighty_columns(typed: tuple[str, ...]) -> None:
    code, shown = on_a_terminal(*typed, "--help")
    assert code == 0
    assert max(map(len, shown.splitlines())) <= COLUMNS
