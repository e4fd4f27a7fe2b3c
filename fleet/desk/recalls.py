"""Recalls: everything a maker's or safety notice is about is kept in at once, wherever it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select, update

from fleet.ledgers import daybook
from fleet.ledgers.recalls import hold_matching
from fleet.lists.models import find_model
from fleet.lists.recalls import RecalledLine, find_recall, recalled, recalls
from fleet.records import HoldRow, ItemRow, RecallRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.people import Actor, require_anywhere
from fleet.rules.reasons import written_reason
from fleet.rules.recalls import Scope, read_scope
from fleet.rules.register import Role

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

# A model belongs to no site, and neither does its recall.
_SHARED = 0
_RECALLS, _HOLDS = rows_of(RecallRow), rows_of(HoldRow)
_ADD = insert(_RECALLS)
_END = (
    update(_RECALLS)
    .where(_RECALLS.c.id == bindparam("recall"), _RECALLS.c.ended_at.is_(None))
    .values(ended_at=bindparam("at"), ended_by_id=bindparam("by"), end_reason=bindparam("why"))
)
_RELEASE = (
    update(_HOLDS)
    .where(_HOLDS.c.id == bindparam("hold"), _HOLDS.c.released_at.is_(None))
    .values(released_at=bindparam("at"), released_by_id=bindparam("by"), evidence=bindparam("words"))
)
_HELD = (
    select(HoldRow.id, ItemRow.tag, ItemRow.site_id)
    .join(ItemRow, ItemRow.id == HoldRow.item_id)
    .where(HoldRow.recall_id == bindparam("recall"), HoldRow.released_at.is_(None))
    .order_by(ItemRow.site_id, ItemRow.tag)
)


@dataclass(frozen=True, slots=True)
class RecallSlip:
    """What is recalled: a model, if given only a range of serial numbers or a time of assembly, as typed."""

    model: str
    notice: str
    reason: str
    serials: str | None = None
    assembled: str | None = None


@dataclass(frozen=True, slots=True)
class Reach:
    """What a recall is about. ``recall`` is empty while it is only looked at.

    ``unclear`` are items of the model whose serial numbers are of another series: look at them by hand.
    """

    recall: int | None
    model: str
    scope: Scope
    meant: tuple[RecalledLine, ...]
    unclear: tuple[RecalledLine, ...]


@dataclass(frozen=True, slots=True)
class Ended:
    """A recall that ended, and the tags of what it no longer keeps in."""

    recall: int
    released: tuple[str, ...]


def look_over(db: Connection, slip: RecallSlip) -> Reach:
    """What a recall would be about, before anything is written."""
    model = find_model(db, slip.model)
    scope = read_scope(slip.serials, slip.assembled)
    found = recalled(db, model.id, scope)
    meant = tuple(line for line in found if line.meant)
    return Reach(None, model.model, scope, meant, tuple(line for line in found if not line.meant))


def open_recall(db: Connection, slip: RecallSlip, *, by: Actor, now: datetime) -> Reach:
    """Keep everything in that a notice is about, at every site, whoever has it; later ones follow."""
    require_anywhere(by, Role.SAFETY)
    notice = written_reason(slip.notice, "the notice (whose, its number and day)", least=3)
    reason = written_reason(slip.reason, "what is wrong with them")
    reach = look_over(db, slip)
    for other in recalls(db):
        if (other.model, other.scope) == (reach.model, reach.scope):
            raise NotPossible(f"Recall {other.id} about the same is open already ({other.notice}).")
    scope = reach.scope
    row = {
        "model_id": find_model(db, slip.model).id,
        "serial_from": scope.serial_from,
        "serial_to": scope.serial_to,
        "assembled_from": scope.assembled_from,
        "assembled_to": scope.assembled_to,
        "notice": notice,
        "reason": reason,
        "opened_at": now,
        "opened_by_id": by.id,
    }
    (recall,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    body = {
        "recall": recall,
        "scope": str(scope),
        "notice": notice,
        "reason": reason,
        "items": [line.tag for line in reach.meant],
        "out": [[line.tag, line.holder, line.job] for line in reach.meant if line.holder],
        "not_compared": [line.tag for line in reach.unclear],
    }
    daybook.enter(db, _SHARED, by=by, now=now, act="recall opened", about=reach.model, body=body)
    hold_matching(db, [line.id for line in reach.meant], by=by, now=now)
    return Reach(recall, reach.model, scope, reach.meant, reach.unclear)


def end_recall(db: Connection, recall: int, reason: str, *, by: Actor, now: datetime) -> Ended:
    """End a recall, and with it every hold that it still keeps."""
    require_anywhere(by, Role.SAFETY)
    line, _items = find_recall(db, recall)
    why = written_reason(reason, "why the recall ends")
    if not db.execute(_END, {"recall": recall, "at": now, "by": by.id, "why": why}).rowcount:
        raise NotPossible(f"Recall {recall} has ended already: {line.end_reason}")
    held = db.execute(_HELD, {"recall": recall}).all()
    words = f"Recall {recall} ended: {why}"
    for hold in held:
        db.execute(_RELEASE, {"hold": hold.id, "at": now, "by": by.id, "words": words})
        body = {"holds": [hold.id], "recall": recall, "evidence": words}
        daybook.enter(db, hold.site_id, by=by, now=now, act="hold released", about=hold.tag, body=body)
    tags = tuple(hold.tag for hold in held)
    body = {"recall": recall, "reason": why, "items": tags}
    daybook.enter(db, _SHARED, by=by, now=now, act="recall ended", about=line.model, body=body)
    return Ended(recall, tags)
