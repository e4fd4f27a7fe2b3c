"""Statements compiled once per engine and then run straight on the driver, in the open transaction.

For the few that every act runs: what SQLAlchemy does around a statement costs more than the statement itself.
Everything else goes through ``Connection.execute``.
"""

from __future__ import annotations

from collections import namedtuple
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import Insert, TypeDecorator

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from sqlalchemy import ColumnElement, Delete, Select, Update
    from sqlalchemy.engine import Connection, Dialect

    Processor = Callable[[Any], Any]


@dataclass(frozen=True, slots=True)
class _Plan:
    """One statement for one engine: its text, how parameters are written, how columns are read."""

    sql: str
    names: tuple[str, ...]
    positional: bool
    fixed: Mapping[str, Any]
    writers: Sequence[tuple[str, Processor]]
    readers: Sequence[tuple[int, Processor]]
    row: Callable[[Iterable[Any]], Any]


class Prepared:
    """One statement without expanding parameters; rows come back as named tuples."""

    def __init__(
        self,
        statement: Select[*tuple[Any, ...]] | Insert | Update | Delete,
        row: Callable[[Iterable[Any]], Any] | None = None,
    ) -> None:
        """``row`` makes the answer of one row's values; else it is a tuple named by the columns."""
        self.statement = statement
        self._row = row
        self._plans: dict[str, _Plan] = {}

    def rows(self, db: Connection, given: Mapping[str, Any]) -> list[Any]:
        """Run it and answer every row."""
        plan, cursor = self._run(db, given)
        found = cursor.fetchall()
        cursor.close()
        if found and plan.readers:
            # Column by column, so that the reading is done without a step of Python per cell.
            columns: list[Iterable[Any]] = list(zip(*found, strict=True))
            for at, reader in plan.readers:
                columns[at] = map(reader, columns[at])
            found = zip(*columns, strict=True)
        return list(map(plan.row, found))

    def run(self, db: Connection, given: Mapping[str, Any]) -> int:
        """Run it and answer how many rows it touched."""
        _plan, cursor = self._run(db, given)
        touched: int = cursor.rowcount
        cursor.close()
        return touched

    def run_each(self, db: Connection, given: Sequence[Mapping[str, Any]]) -> None:
        """Run it once for each of these, which all name the same parameters."""
        if not given:
            return
        plan = self._plans.get(db.dialect.name) or self._plan(db.dialect, given[0])
        raw: Any = db.connection.dbapi_connection
        cursor = raw.cursor()
        cursor.executemany(plan.sql, [_values(plan, one) for one in given])
        cursor.close()

    def _run(self, db: Connection, given: Mapping[str, Any]) -> tuple[_Plan, Any]:
        plan = self._plans.get(db.dialect.name) or self._plan(db.dialect, given)
        raw: Any = db.connection.dbapi_connection
        cursor = raw.cursor()
        cursor.execute(plan.sql, _values(plan, given))
        return plan, cursor

    def _plan(self, dialect: Dialect, given: Mapping[str, Any]) -> _Plan:
        # An insert names the columns that are given, and leaves the others to the database.
        keys = list(given) if isinstance(self.statement, Insert) else None
        compiled: Any = self.statement.compile(dialect=dialect, column_keys=keys)
        columns: list[ColumnElement[Any]] = list(self.statement.exported_columns)
        names = [str(getattr(column, "key", None) or f"column_{at}") for at, column in enumerate(columns)]
        writers = [
            (name, bind.type.dialect_impl(dialect).bind_processor(dialect))
            for name, bind in compiled.binds.items()
        ]
        readers = [
            (at, column.type.dialect_impl(dialect).result_processor(dialect, None))
            for at, column in enumerate(columns)
            # Only our own types are kept otherwise than they are read.
            if isinstance(column.type, TypeDecorator)
        ]
        made: Any = namedtuple("Row", tuple(names), rename=True)  # type: ignore[misc]  # noqa: PYI024  Fields as asked.
        plan = _Plan(
            sql=compiled.string,
            names=tuple(compiled.positiontup or ()),
            positional=bool(compiled.positional),
            fixed={name: bind.value for name, bind in compiled.binds.items() if not bind.required},
            writers=[(name, writer) for name, writer in writers if writer],
            readers=[(at, reader) for at, reader in readers if reader],
            row=self._row or made._make,
        )
        self._plans[dialect.name] = plan
        return plan


def _values(plan: _Plan, given: Mapping[str, Any]) -> dict[str, Any] | list[Any]:
    """The parameters as the driver takes them."""
    values = {**plan.fixed, **given}
    for name, writer in plan.writers:
        values[name] = writer(values[name])
    return [values[name] for name in plan.names] if plan.positional else values
