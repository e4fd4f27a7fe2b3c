"""What an import did, row by row: every row of every file is accounted for."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Rejection:
    """Why one row was not taken in. ``column`` is empty when it is not one cell's fault."""

    file: str
    sheet: str
    row: int
    column: str
    value: str
    rule: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Change:
    """One value that is on record and was changed. Both are as they would be written into a sheet."""

    sheet: str
    about: str
    column: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class TableReport:
    """What became of the rows of one table: rows = new + changed + unchanged + rejected + blank."""

    file: str
    sheet: str
    rows: int
    new: int
    changed: int
    unchanged: int
    rejected: int
    blank: int

    @property
    def accepted(self) -> int:
        """Rows that are on record now."""
        return self.new + self.changed + self.unchanged


@dataclass(frozen=True, slots=True)
class Report:
    """What an import did, or in a dry run would do."""

    tables: tuple[TableReport, ...]
    rejections: tuple[Rejection, ...]
    changes: tuple[Change, ...]
    notes: tuple[str, ...]

    @property
    def rejected(self) -> int:
        """How many rows were not taken in."""
        return sum(table.rejected for table in self.tables)

    @property
    def writes(self) -> int:
        """How many rows change what is on record."""
        return sum(table.new + table.changed for table in self.tables)
