"""Append-only sheets: a row is added once and never changed.

A row has a name of its own: the Entry it was exported with, or one made of its content and its place among
rows of the same content. So the same file twice adds nothing, and two equal rows of one day are two uses.
"""

from __future__ import annotations

import json
import uuid
from collections import Counter
from typing import TYPE_CHECKING, Any

from sqlalchemy import BindParameter, bindparam, insert, select

from fleet.desk.imports.piles import only_once, same
from fleet.desk.imports.work import STEP
from fleet.records.base import rows_of
from fleet.rules.cells import CellRefused, Field, day, maybe, text
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from fleet.desk.imports.known import KnownItem
    from fleet.desk.imports.work import Line, Work
    from fleet.lists.rows import AnyRow
    from fleet.records import Base

_WHO = (Role.KEEPER,)
# The name space of rows named by their content. It must never change, or old files would be added again.
_NAMED = uuid.UUID("6f0b6b0e-3c1f-5d0a-9a57-2b1d3c0f7e11")
_CHUNK = 500
_NAMES: BindParameter[str] = bindparam("names", expanding=True)


def entry_fields(work: Work, when: str, into: str, note: str) -> tuple[Field, ...]:
    """The columns that both ledgers have."""
    return (
        Field("Tag", ("item",), lambda cell, _unit: (work.known.item(cell),)),
        day(when, into),
        maybe("By", "by_id", lambda cell, _unit: (work.known.people.find(cell).id,)),
        maybe("Note", note, text),
        maybe("Entry", "client_id", text),
    )


def _chain(line: Line) -> int:
    """The site in whose day book a row stands: that of its item, unless the row has one of its own."""
    site: int = line.values["site_id"] if "site_id" in line.values else line.values["item"].site_id
    return site


class Ledger:
    """The rows of one append-only sheet against its ledger."""

    def __init__(self, work: Work, entity: type[Base], compared: Mapping[str, str]) -> None:
        self.work = work
        self.rows = rows_of(entity)
        self.compared = compared
        self.kept: dict[str, AnyRow] = {}
        self.added: dict[str, Mapping[str, Any]] = {}
        self.new: list[dict[str, Any]] = []
        self.touched: set[int] = set()

    def lines(self, lines: Iterable[Line], content: Callable[[Line], list[object]]) -> list[Line]:
        """Give every row its name, and look up which of them are on record."""
        given: list[tuple[Line, object]] = []
        often: Counter[tuple[int, str]] = Counter()
        for line in lines:
            if line.values.get("client_id") is None:
                said = json.dumps([self.rows.name, *content(line)], ensure_ascii=False)
                often[id(line.table), said] += 1
                line.values["client_id"] = str(uuid.uuid5(_NAMED, f"{said} {often[id(line.table), said]}"))
            given.append((line, (id(line.table), line.values["client_id"])))
        chosen = [line for line, _ in only_once(self.work, given)]
        self._look_up([line.values["client_id"] for line in chosen])
        return chosen

    def _look_up(self, names: list[str]) -> None:
        statement = select(self.rows).where(self.rows.c.client_id.in_(_NAMES))
        for start in range(0, len(names), _CHUNK):
            for row in self.work.db.execute(statement, {"names": names[start : start + _CHUNK]}):
                self.kept[row.client_id] = row

    def knows(self, line: Line) -> bool:
        """Whether this row is on record, or was added by this import."""
        return line.values["client_id"] in self.kept or line.values["client_id"] in self.added

    def skip(self, line: Line) -> None:
        """Count a row that is on record; one with an Entry must say what the record says."""
        name = line.values["client_id"]
        if line.cell("Entry"):
            kept = self.kept[name]._mapping if name in self.kept else self.added[name]  # noqa: SLF001  SQLAlchemy's own public way in.
            for column, heading in self.compared.items():
                if column in line.values and not same(kept[column], line.values[column]):
                    raise CellRefused(
                        "other entry",
                        f'Entry "{name}" is on record with another {heading}, and an entry is never changed; '
                        "leave the Entry blank to add this row as well.",
                        heading,
                    )
        self.work.count(line, "unchanged", _chain(line))

    def add(self, line: Line, more: Mapping[str, Any]) -> None:
        """Add one row. Raises a refusal when the actor may not."""
        item: KnownItem | None = line.values.get("item")
        self.work.allow(_chain(line), *_WHO)
        given = {"item_id": item.id if item else None, "recorded_at": self.work.now, **line.values, **more}
        record = {column.name: given.get(column.name) for column in self.rows.columns if column.name != "id"}
        self.new.append(record)
        self.added[line.values["client_id"]] = record
        if item:
            self.touched.add(item.id)
        self.work.count(line, "new", _chain(line))

    def write(self, what: str) -> None:
        """Write what was added since the last time, many rows per statement."""
        statement = insert(self.rows)
        for start in range(0, len(self.new), STEP):
            self.work.tell(f"adding {what}", start, len(self.new))
            self.work.db.execute(statement, self.new[start : start + STEP])
        self.new = []
