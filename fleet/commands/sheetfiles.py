"""Sheets as files: CSV that no spreadsheet runs as a formula, or one workbook of plain text."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

from fleet.refusals import NotPossible
from fleet.rules.sheets import guard

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fleet.lists.exports import SheetRows

WORKBOOK = "sheets.xlsx"
# What a workbook can hold.
_MOST_ROWS = 1_048_575
_LONGEST_CELL = 32_767


def write_csv(folder: Path, sheets: Sequence[SheetRows]) -> list[Path]:
    """One file per sheet, in UTF-8 without a mark. Refuses to write over anything."""
    paths = _free(folder, [f"{sheet.name}.csv" for sheet in sheets])
    for path, sheet in zip(paths, sheets, strict=True):
        with path.open("x", encoding="utf-8", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(sheet.headings)
            writer.writerows(
                [guard(cell) if isinstance(cell, str) else cell for cell in row] for row in sheet.rows
            )
    return paths


def write_workbook(folder: Path, sheets: Sequence[SheetRows]) -> list[Path]:
    """One workbook with a worksheet per sheet; text stays text, whatever it looks like."""
    from xlsxwriter import Workbook

    for sheet in sheets:
        longest = max((len(cell) for row in sheet.rows for cell in row if isinstance(cell, str)), default=0)
        if len(sheet.rows) > _MOST_ROWS or longest > _LONGEST_CELL:
            raise NotPossible(f"The sheet {sheet.name} is more than a workbook holds; leave out --xlsx.")
    (path,) = _free(folder, [WORKBOOK])
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with Workbook(str(path), options) as workbook:
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
    return [path]


def _free(folder: Path, names: Sequence[str]) -> list[Path]:
    """The files to write, none of which may exist."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise NotPossible(f"{folder} cannot be used as a folder: {error.strerror}.") from error
    paths = [folder / name for name in names]
    for path in paths:
        if path.exists():
            raise NotPossible(f"{path} is there already. Name an empty folder, or move it away first.")
    return paths
