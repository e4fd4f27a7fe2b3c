"""Months added to a day by the database as ``times.add_months`` does: 31 Jan and a month is 28 Feb."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.functions import FunctionElement

from fleet.records import UpkeepRow

if TYPE_CHECKING:
    from sqlalchemy.sql.compiler import SQLCompiler


class PlusMonths(FunctionElement[Any]):
    """``PlusMonths(day, months)``; nothing when either is missing."""

    type = UpkeepRow.done_on.type
    inherit_cache = True
    name = "plus_months"


@compiles(PlusMonths, "postgresql")
def _postgresql(element: PlusMonths, compiler: SQLCompiler, **more: Any) -> str:  # noqa: ANN401  The library's own.
    day, months = (compiler.process(one, **more) for one in element.clauses)
    return f"CAST({day} + make_interval(months => CAST({months} AS integer)) AS date)"


@compiles(PlusMonths, "sqlite")
def _sqlite(element: PlusMonths, compiler: SQLCompiler, **more: Any) -> str:  # noqa: ANN401  As above.
    # SQLite itself would carry 31 January plus a month over into March.
    day, months = (compiler.process(one, **more) for one in element.clauses)
    first = f"date({day}, 'start of month', '+' || {months} || ' months')"
    last = f"strftime('%d', {first}, '+1 month', '-1 day')"
    return f"(substr({first}, 1, 8) || min(substr({day}, 9, 2), {last}))"
