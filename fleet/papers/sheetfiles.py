"""Sheets as files: CSV that no spreadsheet runs as a formula, or one workbook of plain text."""

from __future__ import annotations

import csv
import io
from typing import IO, TYPE_CHECKING

from fleet.refusals import NotPossible
from fleet.rules.sheets import guard

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fleet.lists.exports import Cell, SheetRows

# What a workbook can hold.
_MOST_ROWS = 1_048_575
_LONGEST_CELL = 32_767


def write_rows(file: IO[str], headings: Sequence[str], rows: Iterable[Sequence[Cell]]) -> None:
    """Write a CSV file."""
    writer = csv.writer(file)
    writer.writerow([guard(heading) for heading in headings])
    writer.writerows([guard(cell) if isinstance(cell, str) else cell for cell in row] for row in rows)


def csv_file(headings: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """A CSV file in UTF-8 without a mark."""
    file = io.StringIO(newline="")
    write_rows(file, headings, rows)
    return file.getvalue().encode()


def check_workbook(sheets: Sequence[SheetRows]) -> None:
    """Refuse what is more than a workbook holds."""
    for sheet in sheets:
        longest = max((len(cell) for row in sheet.rows for cell in row if isinstance(cell, str)), default=0)
        if len(sheet.rows) > _MOST_ROWS or longest > _LONGEST_CELL:
            raise NotPossible(f"The sheet {sheet.name} is more than a workbook holds; take it as CSV.")


def write_workbook(target: str | IO[bytes], sheets: Sequence[SheetRows]) -> None:
    """Write one workbook with a worksheet per sheet; text stays text, whatever it looks like."""
    from xlsxwriter import Workbook  # noqa: PLC0415  Only when one is asked for.

    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with Workbook(target, options) as workbook:
        bold = workbook.add_format({"bold": True})
        for sheet in sheets:
            page = workbook.add_worksheet(sheet.name)
            page.freeze_panes(1, 0)
            page.write_row(0, 0, sheet.headings, bold)
            for number, row in enumerate(sheet.rows, start=1):
                for at, cell in enumerate(row):
                    if isinstance(cell, int):
                        page.write_number(number, at, cell)
                    elif cell:
                        page.write_string(number, at, cell)
