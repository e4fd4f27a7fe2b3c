"""Writing one entry of use that no return reports: the entry, the meter, the due lines and the day book."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, update

from fleet.ledgers import daybook
from fleet.ledgers.due_lines import refresh
from fleet.records import ItemRow, UsageRow
from fleet.records.base import rows_of

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine
    from fleet.rules.people import Actor

_ITEMS = rows_of(ItemRow)
_ADD = insert(rows_of(UsageRow))
_COUNT = (
    update(_ITEMS)
    .where(_ITEMS.c.id == bindparam("item"))
    .values(
        cycles=_ITEMS.c.cycles + bindparam("more_cycles"),
        minutes=_ITEMS.c.minutes + bindparam("more_minutes"),
    )
    .returning(_ITEMS.c.cycles, _ITEMS.c.minutes)
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of the ledger."""

    client_id: str
    item_id: int
    loan_line_id: int | None
    job_id: int | None
    joint_id: int | None
    cycles: int
    minutes: int
    used_on: date
    reverses_id: int | None
    reason: str
    by_id: int | None
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class Booked:
    """One ledger entry and the item's meter after it."""

    entry: int
    tag: str
    cycles: int
    minutes: int
    total_cycles: int
    total_minutes: int
    again: bool = False


def book(db: Connection, entry: Entry, tag: str, site: SiteLine, *, by: Actor) -> Booked:
    """Enter use, or what takes it back, and bring everything up to it that hangs on the meter."""
    (entry_id,) = db.execute(_ADD, asdict(entry)).inserted_primary_key or (0,)
    more = {"item": entry.item_id, "more_cycles": entry.cycles, "more_minutes": entry.minutes}
    total_cycles, total_minutes = db.execute(_COUNT, more).one()
    today = site.today(entry.recorded_at)
    refresh(db, [entry.item_id], lambda _site: today)
    body = {
        "cycles": entry.cycles,
        "minutes": entry.minutes,
        "used_on": str(entry.used_on),
        "reverses": entry.reverses_id,
        "reason": entry.reason,
        "usage": entry.client_id,
    }
    act = "use noted" if entry.reverses_id is None else "use reversed"
    daybook.enter(db, site.id, by=by, now=entry.recorded_at, act=act, about=tag, body=body)
    return Booked(entry_id, tag, entry.cycles, entry.minutes, total_cycles, total_minutes)
