"""Rows that describe one thing each, laid against what is on record: new, changed or unchanged."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, TypeVar

from sqlalchemy import bindparam, insert, select, update

from fleet.desk.imports.report import Change
from fleet.desk.imports.work import STEP
from fleet.records.base import rows_of
from fleet.rules.cells import CellRefused

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence

    from fleet.desk.imports.work import Line, Work
    from fleet.lists.rows import AnyRow
    from fleet.records import Base
    from fleet.rules.cells import Field
    from fleet.rules.register import Role

    Judge = Callable[[Mapping[str, Any], Mapping[str, Any] | None], None]


Key = TypeVar("Key", bound="Hashable")


@dataclass(frozen=True, slots=True)
class Laid:
    """Where a row belongs: its key, what to call it, the day-book chain, and who may write it."""

    key: Hashable
    about: str
    chain: int
    roles: tuple[Role, ...]


class Pile:
    """The rows of one sheet against the rows of one table."""

    def __init__(
        self,
        work: Work,
        entity: type[Base],
        fields: Sequence[Field],
        key: Callable[[AnyRow], Hashable],
        *,
        filled: Mapping[str, Any] | None = None,
        where: Any = None,  # noqa: ANN401  SQLAlchemy's own open type.
    ) -> None:
        self.work = work
        self.rows = rows_of(entity)
        self.columns = tuple(column.name for column in self.rows.columns if column.name != "id")
        self.at = {name: number for number, name in enumerate(("id", *self.columns))}
        # What a row refers to is part of its key and cannot differ.
        self.fields = [one for one in fields if all(name in self.at for name in one.into)]
        self.fresh = dict.fromkeys(self.columns) | _empty(self.fields) | dict(filled or {})
        statement = select(self.rows.c.id, *(self.rows.c[name] for name in self.columns))
        if where is not None:
            statement = statement.where(where)
        self.kept: dict[Hashable, AnyRow] = {key(row): row for row in work.db.execute(statement)}
        self.new: list[dict[str, Any]] = []
        self.changed: list[dict[str, Any]] = []
        self.touched: set[str] = set()

    def lay(self, line: Line, place: Laid, judge: Judge | None = None) -> str:
        """Put one row onto the pile and count it; answer what it is. Raises a refusal."""
        what, changes = self.put(line, place, judge)
        self.work.count(line, what, place.chain, changes)
        return what

    def put(self, line: Line, place: Laid, judge: Judge | None = None) -> tuple[str, list[Change]]:
        """Compare one row with what is on record under its key; answer what it is, and what it changes.

        ``judge`` is asked about the whole record as it will be, and as it was. Raises a refusal.
        """
        kept = self.kept.get(place.key)
        if kept is None:
            record = self.fresh | {name: line.values[name] for name in line.values if name in self.at}
            if judge:
                judge(record, None)
            self.work.allow(place.chain, *place.roles)
            self.new.append(record)
            return "new", []
        differing = [one for one in self.fields if self._differs(one, kept, line)]
        if not differing:
            return "unchanged", []
        before = dict(zip(self.columns, kept[1:], strict=True))
        names = [name for one in differing for name in one.into if name in line.values]
        record = before | {name: line.values[name] for name in names}
        if judge:
            judge(record, before)
        self.work.allow(place.chain, *place.roles)
        self.touched.update(names)
        self.changed.append(record | {"of_id": kept.id})
        return "changed", list(self._changes(line, place, differing, before))

    def _differs(self, one: Field, kept: AnyRow, line: Line) -> bool:
        given = line.values
        return any(name in given and not same(kept[self.at[name]], given[name]) for name in one.into)

    def _changes(
        self, line: Line, place: Laid, differing: Iterable[Field], before: Mapping[str, Any]
    ) -> Iterable[Change]:
        sheet = line.table.recognised.sheet
        for one in differing:
            name = one.into[0]
            write = one.show or shown
            yield Change(
                sheet.name if sheet else "",
                place.about,
                one.heading,
                write(before[name]),
                write(line.values[name]),
            )

    def write(self, what: str) -> None:
        """Write what was laid, many rows per statement."""
        add = insert(self.rows)
        for start in range(0, len(self.new), STEP):
            self.work.tell(f"adding {what}", start, len(self.new))
            self.work.db.execute(add, self.new[start : start + STEP])
        if not self.changed:
            return
        names = sorted(self.touched)
        change = (
            update(self.rows)
            .where(self.rows.c.id == bindparam("of_id"))
            .values({name: bindparam(f"to_{name}") for name in names})
        )
        changes = [
            {"of_id": record["of_id"]} | {f"to_{name}": record[name] for name in names}
            for record in self.changed
        ]
        for start in range(0, len(changes), STEP):
            self.work.tell(f"changing {what}", start, len(changes))
            self.work.db.execute(change, changes[start : start + STEP])


def only_once(work: Work, lines: Iterable[tuple[Line, Key]]) -> list[tuple[Line, Key]]:
    """Leave out rows that share their key with another: which of them is meant could only be guessed."""
    given = list(lines)
    often = {key for key, number in Counter(key for _, key in given).items() if number > 1}
    if not often:
        return given
    where: dict[Hashable, list[Line]] = {}
    for line, key in given:
        if key in often:
            where.setdefault(key, []).append(line)
    for alike in where.values():
        for line in alike:
            others = ", ".join(other.where for other in alike[:4] if other is not line)
            work.refuse(
                line, CellRefused("duplicate", f"This is also described in {others}; leave one of them.")
            )
    return [(line, key) for line, key in given if key not in often]


def tidy(text: str) -> str:
    """The text as it comes back from a file: its ends stripped, its lines ended in one way."""
    return text.replace("\r\n", "\n").replace("\r", "\n").strip()


def same(old: object, new: object) -> bool:
    """Whether a value on record is what a file says: exactly, but for line ends, blanks and float noise."""
    if old == new:
        return True
    if isinstance(old, str) and isinstance(new, str):
        return tidy(old) == tidy(new)
    if isinstance(old, float) and isinstance(new, float):
        return math.isclose(old, new, rel_tol=1e-9)
    return False


def shown(value: object) -> str:
    """A value as the day book writes it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date | datetime):
        return value.isoformat()
    return f"{value:g}" if isinstance(value, float) else str(value)


def _empty(fields: Sequence[Field]) -> dict[str, Any]:
    return {
        name: value
        for one in fields
        if one.empty is not None
        for name, value in zip(one.into, one.empty, strict=True)
    }
