"""Signs of life of what runs by the clock: silence must be noticed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy.dialects import postgresql, sqlite

from fleet.records import HeartbeatRow
from fleet.records.base import rows_of

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

ROUNDS = "rounds"


def beat(db: Connection, name: str, note: str, *, now: datetime) -> None:
    """Note that something was alive now, and what it did."""
    insert = postgresql.insert if db.dialect.name == "postgresql" else sqlite.insert
    row = {"name": name, "at": now, "note": note}
    statement = insert(rows_of(HeartbeatRow)).values(row)
    db.execute(statement.on_conflict_do_update(index_elements=["name"], set_={"at": now, "note": note}))
