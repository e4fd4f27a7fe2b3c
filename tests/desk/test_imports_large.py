"""A whole register at once: a hundred thousand rows, half of them on record already."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import func

from fleet import records
from tests.importing import Intake

if TYPE_CHECKING:
    from fleet.room import Room


def register(first: int, last: int, shelf: str) -> str:
    rows = (
        f"{MODELS[number % 3]},B{number:07d},{SITES[number % 2]},{shelf},2025-01-05"
        for number in range(first, last)
    )
    return "\n".join(("Model,Serial,Site,Shelf,Received", *rows)) + "\n"


MODELS, SITES = ("W-500", "L-60", "P-1"), ("NORTH", "SOUTH")


def test_a_register_half_of_which_is_known(room: Room, *, deep: bool) -> None:
    rows = 100_000 if deep else 2_000
    intake = Intake(room)
    intake.set_up()
    assert intake.sheet("items", register(0, rows // 2, "A1")).tables[0].new == rows // 2

    content = register(0, rows // 2, "B2") + register(rows // 2, rows, "A1").partition("\n")[2]
    report = intake.sheet("items", content)

    (table,) = report.tables
    assert (table.rows, table.new, table.changed, table.rejected) == (rows, rows // 2, rows // 2, 0)
    assert len(report.changes) == rows // 2
    item = records.ItemRow
    assert intake.one(func.count(item.id), item.serial.startswith("B"), item.shelf == "B2") == rows // 2
    assert intake.one(func.count(records.DueLineRow.item_id.distinct())) == rows + 4
    assert intake.sheet("items", content).writes == 0
