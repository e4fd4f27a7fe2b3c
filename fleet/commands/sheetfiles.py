"""Sheets laid into a folder, where nothing is written over."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fleet.lists.exports import SheetRows

WORKBOOK = "sheets.xlsx"


def write_csv(folder: Path, sheets: Sequence[SheetRows]) -> list[Path]:
    """One file per sheet. Refuses to write over anything."""
    from fleet.papers.sheet_files import csv_file

    paths = _free(folder, [f"{sheet.name}.csv" for sheet in sheets])
    for path, sheet in zip(paths, sheets, strict=True):
        with path.open("xb") as file:
            file.write(csv_file(sheet))
    return paths


def write_workbook(folder: Path, sheets: Sequence[SheetRows]) -> list[Path]:
    """One workbook with a worksheet per sheet."""
    from fleet.papers.sheet_files import workbook_file

    content = workbook_file(sheets)
    (path,) = _free(folder, [WORKBOOK])
    with path.open("xb") as file:
        file.write(content)
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
