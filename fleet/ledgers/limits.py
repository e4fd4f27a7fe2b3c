"""Own limits of single items: one writer for whoever sets one, with the due lines they move."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, update

from fleet.ledgers.due_lines import refresh
from fleet.records import LimitRow
from fleet.records.base import rows_of

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.limits import Clocks
    from fleet.rules.people import Actor

_LIMITS = rows_of(LimitRow)
_ADD = insert(_LIMITS)
_END = (
    update(_LIMITS)
    .where(
        _LIMITS.c.item_id == bindparam("item"),
        _LIMITS.c.task_id == bindparam("task"),
        _LIMITS.c.ended_at.is_(None),
    )
    .values(ended_at=bindparam("now"), end_reason=bindparam("why"))
)


def write_limit(  # noqa: PLR0913  One parameter for each thing that is kept.
    db: Connection,
    *,
    item_id: int,
    task_id: int,
    clocks: Clocks,
    reason: str,
    document: str,
    by: Actor,
    now: datetime,
    today: date,
) -> int:
    """Set an item's own limit for a task in place of any before, and answer its number.

    The day book is the act's: it knows why.
    """
    db.execute(_END, {"item": item_id, "task": task_id, "now": now, "why": "Replaced by a later limit."})
    row = {
        "item_id": item_id,
        "task_id": task_id,
        "every_months": clocks.months,
        "every_cycles": clocks.cycles,
        "every_minutes": clocks.minutes,
        "reason": reason,
        "document": document,
        "set_at": now,
        "set_by_id": by.id,
    }
    (number,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    refresh(db, [item_id], lambda _site: today)
    return int(number)


def end_limit(db: Connection, *, item_id: int, task_id: int, reason: str, now: datetime, today: date) -> bool:
    """End an item's own limit; answers whether there was one."""
    ended = db.execute(_END, {"item": item_id, "task": task_id, "now": now, "why": reason}).rowcount
    refresh(db, [item_id], lambda _site: today)
    return bool(ended)
