"""Tables as they stand in files: rows of text, whatever kind of file they came in."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fleet.rules.headings import Recognised, recognise

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

# Wider than any sheet of ours; a cell further out is a slip, or a file that means harm.
MOST_COLUMNS = 200


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why one cell cannot be taken as it is: a short name of the rule, and the sentence."""

    rule: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Table:
    """One table: rows of stripped text with their row numbers as a spreadsheet program shows them.

    ``doubts`` are cells (row number, column from 0) that a file marks as something else than plain text.
    """

    file: str
    title: str
    heading_row: int
    headings: tuple[str, ...]
    recognised: Recognised
    rows: Sequence[tuple[int, tuple[str, ...]]]
    doubts: Mapping[tuple[int, int], Doubt]

    @property
    def label(self) -> str:
        """The file, and in a workbook the worksheet: ``room.xlsx, items``."""
        return f"{self.file}, {self.title}" if self.title else self.file


@dataclass(frozen=True, slots=True)
class ReadFile:
    """One file that was read: its name, digest, content as it came, and the tables in it.

    ``notes`` say what a person who looks at the file would not see.
    """

    name: str
    sha256: str
    content: bytes = field(repr=False)
    tables: tuple[Table, ...]
    notes: tuple[str, ...] = ()


def digest(content: bytes) -> str:
    """The name under which a file is kept."""
    return hashlib.sha256(content).hexdigest()


def make_table(
    file: str,
    title: str,
    rows: Sequence[tuple[int, tuple[str, ...]]],
    doubts: Mapping[tuple[int, int], Doubt] | None = None,
    *,
    addressed: bool = False,
) -> Table | None:
    """A table of its rows: the first that is not blank holds the headings. Nothing when all are blank.

    Where cells are ``addressed``, as in a workbook, those that are missing at the end of a row are blank.
    """
    start = next((at for at, (_, cells) in enumerate(rows) if any(cells)), None)
    if start is None:
        return None
    number, cells = rows[start]
    width = max((at for at, cell in enumerate(cells, start=1) if cell), default=0)
    body = [_fitted(row, width, addressed=addressed) for row in rows[start + 1 :]]
    # A column without heading and without cells is only a gap.
    headings = [cells[at] or ("" if _used(body, at) else None) for at in range(width)]
    found = recognise(headings, title or file.rsplit(".", 1)[0])
    return Table(file, title, number, cells[:width], found, body, doubts or {})


def _used(rows: Sequence[tuple[int, tuple[str, ...]]], at: int) -> bool:
    return any(at < len(cells) and cells[at] for _, cells in rows)


def _fitted(row: tuple[int, tuple[str, ...]], width: int, *, addressed: bool) -> tuple[int, tuple[str, ...]]:
    """Leave out empty cells beyond the headings; cells with something in them stay, to be refused."""
    number, cells = row
    if addressed and len(cells) < width:
        return number, cells + ("",) * (width - len(cells))
    if len(cells) > width and not any(cells[width:]):
        return number, cells[:width]
    return row
