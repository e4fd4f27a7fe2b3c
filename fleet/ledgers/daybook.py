"""Writing the day book."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select, text

from fleet.records import EntryRow
from fleet.records.base import rows_of
from fleet.records.prepared import Prepared
from fleet.rules.daybook import FIRST, Seal, canonical, entry_hash

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.people import Actor

_HEAD = Prepared(
    select(EntryRow.seq, EntryRow.hash)
    .where(EntryRow.chain == bindparam("chain"))
    .order_by(EntryRow.seq.desc())
    .limit(1)
)
_ADD = Prepared(insert(rows_of(EntryRow)))
# Two acts on PostgreSQL must not both follow the same entry. SQLite's write lock already sees to that.
_QUEUE = text("SELECT pg_advisory_xact_lock(7002, :chain)")


def enter(
    db: Connection,
    chain: int,
    *,
    by: Actor,
    now: datetime,
    act: str,
    about: str,
    body: Mapping[str, object],
) -> Seal:
    """Append one entry to a chain and answer its seal."""
    if db.dialect.name == "postgresql":
        db.execute(_QUEUE, {"chain": chain})
    head = _HEAD.rows(db, {"chain": chain})
    seq, before = (head[0].seq + 1, head[0].hash) if head else (1, FIRST)
    entry: dict[str, object] = {"person_name": by.name, "act": act, "about": about, "body": canonical(body)}
    digest = entry_hash(before, chain=chain, seq=seq, recorded_at=now, **entry)  # type: ignore[arg-type]
    place = {"chain": chain, "seq": seq, "recorded_at": now, "person_id": by.id}
    _ADD.run(db, place | entry | {"prev_hash": before, "hash": digest})
    return Seal(chain, seq, digest)
