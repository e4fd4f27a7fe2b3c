"""Sheets written into a folder, where nothing is written over."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.papers import sheetfiles
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fleet.lists.exports import SheetRows

WORKBOOK = "sheets.xlsx"


def write_csv(folder: Path, sheets: Sequence[SheetRows]) -> list[Path]:
    """One file per sheet, in UTF-8 without a mark. Refuses to write over anything."""
    paths = _free(folder, [f"{sheet.name}.csv" for sheet in sheets])
    for path, sheet in zip(paths, sheets, strict=True):
        with path.open("x", encoding="utf-8", newline="") as file:
            sheetfiles.write_rows(file, sheet.headings, sheet.rows)
    return paths


def write_workbook(folder: Path, sheets: Sequence[SheetRows]) -> list[Path]:
    """One workbook with a worksheet per sheet."""
    sheetfiles.check_workbook(sheets)
    (path,) = _free(folder, [WORKBOOK])
    sheetfiles.write_workbook(str(path), sheets)
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
