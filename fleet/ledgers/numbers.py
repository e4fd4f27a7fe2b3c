"""Numbers handed out one after the other, never twice."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import bindparam, update
from sqlalchemy.dialects import postgresql, sqlite

from fleet.records import CounterRow
from fleet.records.base import rows_of

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

_COUNTERS = rows_of(CounterRow)
_TAKE = (
    update(_COUNTERS)
    .where(_COUNTERS.c.name == bindparam("counter"))
    .values(last=_COUNTERS.c.last + bindparam("how_many"))
    .returning(_COUNTERS.c.last)
)


def take_numbers(db: Connection, counter: str, how_many: int = 1, *, start: int = 1) -> range:
    """The next ``how_many`` numbers of a counter; the first number ever given out is ``start``."""
    insert = postgresql.insert if db.dialect.name == "postgresql" else sqlite.insert
    row = {"name": counter, "last": start - 1}
    db.execute(insert(_COUNTERS).values(row).on_conflict_do_nothing())
    last: int = db.execute(_TAKE, {"counter": counter, "how_many": how_many}).scalar_one()
    return range(last - how_many + 1, last + 1)
