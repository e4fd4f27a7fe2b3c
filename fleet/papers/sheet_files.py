"""Sheets as files: CSV that no spreadsheet runs as a formula, or one workbook of plain text."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from fleet.refusals import NotPossible
from fleet.rules.sheets import guard

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.lists.exports import SheetRows

# What a workbook can hold.
_MOST_ROWS = 1_048_575
_LONGEST_CELL, _LONGEST_NAME = 32_767, 31


def csv_file(sheet: SheetRows) -> bytes:
    """One sheet in UTF-8 without a mark."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(sheet.headings)
    writer.writerows([guard(cell) if isinstance(cell, str) else cell for cell in row] for row in sheet.rows)
    return text.getvalue().encode()


def workbook_file(sheets: Sequence[SheetRows]) -> bytes:
    """One workbook with a worksheet per sheet; text stays text, whatever it looks like."""
    from xlsxwriter import Workbook  # noqa: PLC0415  Only who asks for a workbook waits for it.

    for sheet in sheets:
        longest = max((len(cell) for row in sheet.rows for cell in row if isinstance(cell, str)), default=0)
        if len(sheet.rows) > _MOST_ROWS or longest > _LONGEST_CELL:
            raise NotPossible(f"The sheet {sheet.name} is more than a workbook holds; take the CSV files.")
    content = io.BytesIO()
    options = {
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "in_memory": True,
    }
    with Workbook(content, options) as workbook:
        bold = workbook.add_format({"bold": True})
        for sheet in sheets:
            page = workbook.add_worksheet(sheet.name[:_LONGEST_NAME])
            page.freeze_panes(1, 0)
            page.write_row(0, 0, sheet.headings, bold)
            for number, row in enumerate(sheet.rows, start=1):
                for at, cell in enumerate(row):
                    if isinstance(cell, int):
                        page.write_number(number, at, cell)
                    elif cell:
                        page.write_string(number, at, cell)
    return content.getvalue()
