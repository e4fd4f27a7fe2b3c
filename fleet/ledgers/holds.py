"""Opening a hold: whatever finds a fault opens it in the same transaction."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select

from fleet.ledgers import daybook
from fleet.records import HoldRow, ItemRow
from fleet.records.base import rows_of

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.conditions import HoldCause
    from fleet.rules.people import Actor

_OPEN = insert(rows_of(HoldRow))
_ITEM = select(ItemRow.site_id, ItemRow.tag).where(ItemRow.id == bindparam("item"))


def open_hold(
    db: Connection,
    *,
    item_id: int,
    cause: HoldCause,
    reason: str,
    by: Actor,
    now: datetime,
    recall_id: int | None = None,
) -> int:
    """Keep one item in until it is released with evidence, and say so in the day book; answer its number."""
    item = db.execute(_ITEM, {"item": item_id}).one()
    row = {
        "item_id": item_id,
        "cause": cause,
        "reason": reason,
        "opened_at": now,
        "opened_by_id": by.id,
        "recall_id": recall_id,
    }
    (hold,) = db.execute(_OPEN, row).inserted_primary_key or (0,)
    body: dict[str, object] = {"hold": hold, "cause": cause, "reason": reason}
    if recall_id is not None:
        body["recall"] = recall_id
    daybook.enter(db, item.site_id, by=by, now=now, act="hold opened", about=item.tag, body=body)
    return int(hold)
