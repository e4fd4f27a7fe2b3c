"""Keeping recalled items in, whenever they come on record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.ledgers.holds import open_hold
from fleet.lists.recalls import matching
from fleet.rules.conditions import HoldCause

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.people import Actor

# How many items are asked for at a time: one statement's worth of parameters.
CHUNK = 500


def hold_matching(db: Connection, item_ids: Sequence[int], *, by: Actor, now: datetime) -> list[int]:
    """Put every one of these items on hold that an open recall is about; answer the holds' numbers.

    An item that this recall held before, or that was cleared of it with evidence, is left as it is.
    """
    holds = []
    for start in range(0, len(item_ids), CHUNK):
        for item_id, found in matching(db, item_ids[start : start + CHUNK]).items():
            holds += [
                open_hold(
                    db,
                    item_id=item_id,
                    cause=HoldCause.RECALL,
                    reason=f"Recall {one.recall} ({one.notice}): {one.reason}",
                    by=by,
                    now=now,
                    recall_id=one.recall,
                )
                for one in found
            ]
    return holds
