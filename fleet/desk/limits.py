"""Own limits of single items: set by a safety officer, with the document that allows them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select

from fleet.ledgers import daybook
from fleet.ledgers.limits import end_limit as end
from fleet.ledgers.limits import write_limit
from fleet.lists.items import find_item
from fleet.lists.limits import clocked_task
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.records import DueLineRow, ItemRow
from fleet.refusals import NotPossible
from fleet.rules.limits import Clocks, check_clocks
from fleet.rules.people import Actor, require
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

_LOCK = select(ItemRow.id).where(ItemRow.id == bindparam("item")).with_for_update()
_DUE = select(DueLineRow.due_on).where(
    DueLineRow.item_id == bindparam("item"), DueLineRow.task_id == bindparam("task")
)


@dataclass(frozen=True, slots=True)
class LimitSlip:
    """Another interval or life for one task of one item, why, and by which document."""

    item: str
    task: str
    clocks: Clocks
    reason: str
    document: str


@dataclass(frozen=True, slots=True)
class Limited:
    """The clocks a task of an item goes by now, and when it is due by the calendar."""

    tag: str
    task: str
    clocks: Clocks
    before: Clocks
    due_on: date | None
    again: bool = False


def set_limit(db: Connection, slip: LimitSlip, *, by: Actor, now: datetime) -> Limited:
    """Give one item its own limit for a task; the same limit again changes nothing."""
    item = find_item(db, slip.item)
    site = find_site(db, item.site)
    require(by, site.id, site.name, Role.SAFETY)
    check_clocks(slip.clocks)
    reason = written_reason(slip.reason, "why this item has a limit of its own")
    document = written_reason(slip.document, "which document allows it", least=3)
    db.execute(_LOCK, {"item": item.id})
    task = clocked_task(db, item, slip.task)
    asked = {"item": item.id, "task": task.id}
    if task.limit == slip.clocks:
        due_on = db.execute(_DUE, asked).scalar()
        return Limited(item.tag, task.name, slip.clocks, task.limit, due_on, again=True)
    number = write_limit(
        db,
        item_id=item.id,
        task_id=task.id,
        clocks=slip.clocks,
        reason=reason,
        document=document,
        by=by,
        now=now,
        today=site.today(now),
    )
    before = _in_force(task.own, task.limit)
    body = {
        "limit": number,
        "task": task.name,
        "clocks": str(slip.clocks),
        "before": str(before),
        "reason": reason,
        "document": document,
    }
    daybook.enter(db, site.id, by=by, now=now, act="limit set", about=item.tag, body=body)
    return Limited(item.tag, task.name, slip.clocks, before, db.execute(_DUE, asked).scalar())


def end_limit(
    db: Connection, asked: str, task_name: str, reason: str, *, by: Actor, now: datetime
) -> Limited:
    """End an item's own limit; the task's own clocks go on."""
    item = find_item(db, asked)
    site = find_site(db, item.site)
    require(by, site.id, site.name, Role.SAFETY)
    why = written_reason(reason, "why the limit ends")
    db.execute(_LOCK, {"item": item.id})
    task = clocked_task(db, item, task_name)
    if not end(db, item_id=item.id, task_id=task.id, reason=why, now=now, today=site.today(now)):
        raise NotPossible(f"{show_tag(item.tag)} has no limit of its own for {task.name}.")
    body = {"task": task.name, "clocks": str(task.limit), "now": str(task.own), "reason": why}
    daybook.enter(db, site.id, by=by, now=now, act="limit ended", about=item.tag, body=body)
    due_on = db.execute(_DUE, {"item": item.id, "task": task.id}).scalar()
    return Limited(item.tag, task.name, task.own, _in_force(task.own, task.limit), due_on)


def _in_force(own: Clocks, limit: Clocks) -> Clocks:
    return Clocks(limit.months or own.months, limit.cycles or own.cycles, limit.minutes or own.minutes)
