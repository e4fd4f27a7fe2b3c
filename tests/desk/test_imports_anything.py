"""Whatever a file holds: no row is lost, none is counted twice, and the program does not stumble."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.desk.imports import import_files
from fleet.rules.people import SETTING_UP
from fleet.rules.sheets import SHEETS
from tests.importing import Intake, csv_file

if TYPE_CHECKING:
    from fleet.rules.columns import Sheet

# What stands in cells: what is known, what nearly is, and what somebody's spreadsheet made of it.
WORDS = (
    *("", "NORTH", "south", "K1", "F1", "W-500", "H-6", "P-1", "10006", "1001-4", "J-1", "J-2", "F-1", "A"),
    *("wrench", "pump", "gauge", "square drive", "ratchet link", "advance", "tool", "male", "3/8 in", "1 in"),
    *("keeper", "yes", "no", "calibration", "service", "life", "soft", "last done", "damaged", "type plate"),
    *("700 bar", "10,000 psi", "700 bar / 10 000 psi", "300 Nm", "12 psi", "3 400 psi", "5–10 psi", "4:1"),
    *("2026-05-01", "2026-05-10", "2026-05-20", "03/04/26", "2026-02-30", "2026-05-01 07:00", "D-3"),
    *("0", "1", "12", "-12", "1e9", "12.5", "9" * 30, "6", "24", "Monday", "Europe/Berlin", "bar", "N·m"),
    *("a@tool-room.example", "not an address", "1 1/2-8 UN", "M36", "heavy", "iso", "1.6", "2A", "10 %"),
    *("=1+1", "'=1", "é", "漢字", "x" * 5_000, "a\tb", "a\x07b", "first\nsecond", "00123", "2E5"),
)


@st.composite
def tables(draw: st.DrawFn) -> tuple[Sheet, list[list[str]]]:
    """A sheet, and rows under its headings."""
    sheet = draw(st.sampled_from(SHEETS))
    cell = st.one_of(st.sampled_from(WORDS), st.text(max_size=8))
    width = len(sheet.headings)
    rows = st.lists(st.lists(cell, min_size=width, max_size=width), max_size=6)
    return sheet, draw(rows)


@given(st.lists(tables(), min_size=1, max_size=3))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
def test_every_row_of_anything_is_accounted_for(
    filled: Intake, given_tables: list[tuple[Sheet, list[list[str]]]]
) -> None:
    files = []
    for number, (sheet, rows) in enumerate(given_tables):
        text = io.StringIO()
        csv.writer(text).writerows([sheet.headings, *rows])
        # A blank line at the end tells equal files apart.
        content = text.getvalue().replace("\0", "") + "\r\n" * number
        files.append(csv_file(f"{number}", content))
    with filled.room.act() as db, db.begin_nested() as all_of_it:
        report = import_files(db, files, by=SETTING_UP, now=filled.room.now(db))
        all_of_it.rollback()

    refused = {(one.file, one.row) for one in report.rejections}
    assert len(refused) == report.rejected
    for table in report.tables:
        accounted = table.new + table.changed + table.unchanged + table.rejected + table.blank
        assert table.rows == accounted
        assert len([place for place in refused if place[0] == table.file]) == table.rejected
    assert all(one.sentence.endswith((".", "?")) and one.rule for one in report.rejections)
