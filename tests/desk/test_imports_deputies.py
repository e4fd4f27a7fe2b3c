"""Who stands in for whom, in the sheet of people: also for people who come in with the same sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fleet.lists.deputies import deputies
from fleet.lists.exports import export_sheets
from tests.importing import Intake

if TYPE_CHECKING:
    from fleet.room import Room

HEAD = "Badge,Name,E-mail,Site,Role,Deputy\n"
DORA = "D1,Dora Dunn,dora@tool-room.example,NORTH,keeper,"
DAN = "D2,Dan Dale,dan@tool-room.example,NORTH,keeper,"


@pytest.fixture
def filled(room: Room) -> Intake:
    intake = Intake(room)
    assert intake.set_up().rejections == ()
    return intake


def named(intake: Intake) -> list[tuple[str, str | None]]:
    with intake.room.look() as db:
        return [(one.badge, one.deputy_badge) for one in deputies(db)]


def test_a_deputy_may_come_in_with_the_same_sheet_in_any_order(filled: Intake) -> None:
    assert filled.sheet("people", f"{HEAD}{DORA}D2\n{DAN}\n").writes == 2
    assert named(filled) == [("D1", "D2")]


def test_another_deputy_or_none_is_a_change_and_the_same_one_is_not(filled: Intake) -> None:
    filled.sheet("people", f"{HEAD}{DORA}D2\n{DAN}\n")
    report = filled.sheet("people", f"{HEAD}{DORA}d2\n{DAN}D1\n")
    assert [(one.about, one.column, one.old, one.new) for one in report.changes] == [
        ("D2", "Deputy", "", "D1")
    ]
    assert (report.tables[0].changed, report.tables[0].unchanged) == (1, 1)
    assert filled.sheet("people", f"{HEAD}{DORA}\n").tables[0].changed == 1
    assert named(filled) == [("D2", "D1")]


def test_a_sheet_without_the_column_leaves_deputies_alone(filled: Intake) -> None:
    filled.sheet("people", f"{HEAD}{DORA}D2\n{DAN}\n")
    assert filled.sheet("people", "Badge,Name,Site,Role\nD1,Dora Dunn,NORTH,keeper\n").writes <= 1
    assert named(filled) == [("D1", "D2")]


@pytest.mark.parametrize(
    ("deputy", "why"),
    [("Z9", "Nobody has the badge 'Z9'."), ("D1", "another active person"), ("F1", "another active person")],
)
def test_who_cannot_stand_in_is_refused_with_the_reason(filled: Intake, deputy: str, why: str) -> None:
    refusal = filled.refused("people", f"{HEAD}{DORA}{deputy}\n{DAN}\n")
    assert why in refusal.sentence
    assert named(filled) == []


def test_what_was_exported_brings_deputies_back(filled: Intake) -> None:
    filled.sheet("people", f"{HEAD}{DORA}D2\n{DAN}\n")
    with filled.room.look() as db:
        (sheet,) = export_sheets(db, ["people"])
    cells = dict(zip(sheet.headings, next(row for row in sheet.rows if row[0] == "D1"), strict=True))
    assert cells["Deputy"] == "D2"
