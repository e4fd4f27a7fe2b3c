"""The register written back into the sheets it is read from: what is exported here imports as no change."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any

from fleet.lists.export_queries import QUERIES
from fleet.measures.times import read_moment, write_instant, zone
from fleet.rules.sheets import SHEETS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow
    from fleet.rules.columns import Sheet

    Cell = str | int

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


@dataclass(frozen=True, slots=True)
class SheetRows:
    """One sheet as it is written: its name, its headings, and a cell per heading in every row."""

    name: str
    headings: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


def export_sheet(db: Connection, sheet: Sheet) -> SheetRows:
    """Everything on record that belongs into one sheet. Only whole numbers are numbers; all else is text."""
    write = _WRITERS.get(sheet.name, _as_it_is)
    rows = tuple(tuple(as_cell(value) for value in write(row)) for row in db.execute(QUERIES[sheet.name]))
    return SheetRows(sheet.name, sheet.headings, rows)


def export_sheets(db: Connection, names: Sequence[str] | None = None) -> list[SheetRows]:
    """The sheets of these names, or all of them, in the order in which they are listed."""
    return [export_sheet(db, sheet) for sheet in SHEETS if names is None or sheet.name in names]


def show_working_days(days: str) -> str:
    """Working days by name: ``Mon Tue`` for ISO weekdays 12."""
    return " ".join(WEEKDAYS[int(day) - 1][:3] for day in days)


def _as_it_is(row: AnyRow) -> Sequence[Any]:
    return row


def as_cell(value: object) -> Cell:
    """A value as a sheet holds it: whole numbers as numbers, all else as text."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return value
    if isinstance(value, float):
        return f"{value:.15g}"
    if isinstance(value, date):
        return value.isoformat()
    return _CONTROL.sub(" ", str(value).replace("\r\n", "\n").replace("\r", "\n"))


def write_when(instant: datetime | None, time_zone: str, *, end: bool = False) -> str:
    """An instant as a site's day or day and time, if that is read back as the very same; else in UTC."""
    if instant is None:
        return ""
    there = zone(time_zone)
    local = instant.astimezone(there)
    last_day = (local - timedelta(days=1)).date() if end else local.date()
    day = last_day.isoformat() if local.time() == time() else ""
    for text in (day, f"{local:%Y-%m-%d %H:%M}"):
        if text and _reads_as(text, instant, time_zone, end=end):
            return text
    return write_instant(instant)


def _reads_as(text: str, instant: datetime, time_zone: str, *, end: bool) -> bool:
    return read_moment(text, zone(time_zone), end=end) == instant


def _site(row: AnyRow) -> Sequence[Any]:
    working = show_working_days(row.working_days)
    return (*row[:5], WEEKDAYS[row.letter_weekday], *row[6:-1], working)


def _task(row: AnyRow) -> Sequence[Any]:
    """Pump hours with four decimals tell whole minutes apart; the repairs of a task stand by name."""
    hours = None if row.every_minutes is None else f"{row.every_minutes / 60:.4f}".rstrip("0").rstrip(".")
    return (*row[:5], hours, *row[6:-1], "; ".join(sorted((row.again_after or "").split("; "))))


def _job(row: AnyRow) -> Sequence[Any]:
    ends = write_when(row.ends_at, row.time_zone, end=True)
    return (*row[:3], write_when(row.starts_at, row.time_zone), ends, row.crews)


def _hold(row: AnyRow) -> Sequence[Any]:
    opened, released = (write_when(at, row.time_zone) for at in (row.opened_at, row.released_at))
    return (*row[:3], opened, released, row.evidence, row.by, row.released_by)


def _loan(row: AnyRow) -> Sequence[Any]:
    return (*row[:3], write_when(row.issued_at, row.time_zone), row.back_on, row.by)


def _reservation(row: AnyRow) -> Sequence[Any]:
    starts, ends = write_when(row.starts_at, row.time_zone), write_when(row.ends_at, row.time_zone, end=True)
    return (*row[:3], starts, ends, row.by)


_WRITERS: dict[str, Callable[[AnyRow], Sequence[Any]]] = {
    "sites": _site,
    "upkeep": _task,
    "jobs": _job,
    "holds": _hold,
    "loans": _loan,
    "reservations": _reservation,
}
