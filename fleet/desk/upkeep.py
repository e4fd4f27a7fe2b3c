"""Recording that an upkeep task was done, and taking items out of service."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select, update

from fleet.ledgers import daybook
from fleet.ledgers.due_lines import refresh
from fleet.ledgers.upkeep import meter_then, write_done
from fleet.lists.items import ItemLine, find_item
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.records import DueLineRow, ItemRow, LoanLineRow, TaskRow, UpkeepRow
from fleet.records.base import rows_of
from fleet.refusals import NotFound, NotPossible
from fleet.rules.evidence import Proof
from fleet.rules.people import Actor, require
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role
from fleet.rules.requests import used_otherwise
from fleet.rules.upkeep import CountsFrom, proved_otherwise, spoken

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow

_SAME = (
    select(UpkeepRow.item_id, TaskRow.name, UpkeepRow.done_on)
    .join(TaskRow, TaskRow.id == UpkeepRow.task_id)
    .where(UpkeepRow.client_id == bindparam("client"))
)
_TASKS = (
    select(
        TaskRow.id,
        TaskRow.name,
        TaskRow.counts_from,
        TaskRow.proved_by,
        DueLineRow.due_on,
        DueLineRow.due_cycles,
        DueLineRow.due_minutes,
        DueLineRow.last_done_on,
    )
    .join(DueLineRow, DueLineRow.task_id == TaskRow.id)
    .where(DueLineRow.item_id == bindparam("item"))
    .order_by(TaskRow.name)
)
_RECEIVED = select(ItemRow.received_on).where(ItemRow.id == bindparam("item"))
_OUT = select(LoanLineRow.id).where(
    LoanLineRow.item_id == bindparam("item"), LoanLineRow.returned_at.is_(None)
)
_ITEMS = rows_of(ItemRow)
_RETIRE = (
    update(_ITEMS)
    .where(_ITEMS.c.id == bindparam("item"), _ITEMS.c.retired_on.is_(None))
    .values(retired_on=bindparam("on_day"), retired_reason=bindparam("why"))
)


@dataclass(frozen=True, slots=True)
class DoneSlip:
    """Which task was done on which item, when, and what is worth knowing about it."""

    client_id: str
    item: str
    task: str
    done_on: date
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Done:
    """What is on record now: when the task is due next, by each of its clocks."""

    tag: str
    task: str
    done_on: date
    due_on: date | None
    due_cycles: int | None
    due_minutes: int | None
    again: bool = False


def record_done(db: Connection, slip: DoneSlip, *, by: Actor, now: datetime) -> Done:
    """Record one task as done and work out when it is due next."""
    item = find_item(db, slip.item)
    site = find_site(db, item.site)
    task = _task(db, item, slip.task)
    same = db.execute(_SAME, {"client": slip.client_id}).first()
    if same is not None:
        if tuple(same) != (item.id, task.name, slip.done_on):
            raise used_otherwise(slip.client_id)
        return _answer(item, slip, task, again=True)
    require(by, site.id, site.name, Role.KEEPER)
    today = site.today(now)
    _check_day(db, item, slip.done_on, today)
    if task.counts_from == CountsFrom.ASSEMBLY:
        raise NotPossible(
            f"{spoken(task.name)} of {show_tag(item.tag)} counts from its assembly. Retire it with "
            f"'fleet retire' and put the new one on the register under a tag of its own."
        )
    if task.proved_by != Proof.NOTE:
        raise NotPossible(proved_otherwise(task.name, show_tag(item.tag), task.proved_by))
    cycles, minutes = meter_then(db, item.id, slip.done_on)
    write_done(
        db,
        item_id=item.id,
        task_id=task.id,
        done_on=slip.done_on,
        cycles_at=cycles,
        minutes_at=minutes,
        by=by,
        now=now,
        client_id=slip.client_id,
        note=slip.note,
    )
    body = {"task": task.name, "done_on": str(slip.done_on), "note": slip.note, "cycles": cycles}
    daybook.enter(db, site.id, by=by, now=now, act="upkeep done", about=item.tag, body=body)
    return _answer(item, slip, _task(db, item, slip.task), again=False)


def _answer(item: ItemLine, slip: DoneSlip, task: AnyRow, *, again: bool) -> Done:
    return Done(
        item.tag, task.name, slip.done_on, task.due_on, task.due_cycles, task.due_minutes, again=again
    )


def _task(db: Connection, item: ItemLine, asked: str) -> AnyRow:
    known = db.execute(_TASKS, {"item": item.id}).all()
    for task in known:
        if task.name.casefold() == " ".join(asked.split()).casefold():
            return task
    if item.retired_on:
        raise NotPossible(f"{show_tag(item.tag)} was retired on {show_day(item.retired_on)}.")
    names = ", ".join(task.name for task in known) or "none"
    raise NotFound(f"{show_tag(item.tag)} ({item.kind}) has no upkeep task {asked!r}. Its tasks: {names}.")


def _check_day(db: Connection, item: ItemLine, done_on: date, today: date) -> None:
    if done_on > today:
        raise NotPossible(f"{show_day(done_on)} is still to come; only what was done can be recorded.")
    received = db.execute(_RECEIVED, {"item": item.id}).scalar_one()
    if done_on < received:
        raise NotPossible(f"{show_tag(item.tag)} was only received on {show_day(received)}.")


def retire(db: Connection, asked: str, reason: str, *, by: Actor, now: datetime) -> ItemLine:
    """Take an item out of service for good. It stays on record with its whole history."""
    item = find_item(db, asked)
    site = find_site(db, item.site)
    require(by, site.id, site.name, Role.KEEPER)
    why = written_reason(reason, "why it is retired")
    if item.retired_on:
        raise NotPossible(f"{show_tag(item.tag)} was already retired on {show_day(item.retired_on)}.")
    today = site.today(now)
    # Written first: whoever is handing it out at another desk has then finished, or will find it retired.
    db.execute(_RETIRE, {"item": item.id, "on_day": today, "why": why})
    if db.execute(_OUT, {"item": item.id}).first() is not None:
        holder = find_item(db, item.tag).holder
        raise NotPossible(f"{show_tag(item.tag)} is out with {holder}. Take it back first.")
    refresh(db, [item.id], lambda _site: today)
    daybook.enter(db, site.id, by=by, now=now, act="retired", about=item.tag, body={"reason": why})
    return find_item(db, item.tag)
