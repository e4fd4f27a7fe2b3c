"""Recording that an upkeep task was done, and taking items out of service."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select, update

from fleet.ledgers import daybook
from fleet.ledgers.due_lines import refresh
from fleet.ledgers.upkeep import meter_then, withdraw_done, write_done
from fleet.lists.items import ItemLine, find_item
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.records import DueLineRow, ItemRow, LoanLineRow, SiteRow, TaskRow, UpkeepRow
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
    select(UpkeepRow.id, UpkeepRow.item_id, TaskRow.name, UpkeepRow.done_on, UpkeepRow.withdraws_id)
    .join(TaskRow, TaskRow.id == UpkeepRow.task_id)
    .where(UpkeepRow.client_id == bindparam("client"))
)
_ENTRY = (
    select(
        UpkeepRow.id,
        TaskRow.name,
        UpkeepRow.done_on,
        UpkeepRow.inspection_id,
        UpkeepRow.proof_test_id,
        UpkeepRow.calibration_id,
        UpkeepRow.withdraws_id,
        ItemRow.tag,
        SiteRow.code.label("site"),
    )
    .join(TaskRow, TaskRow.id == UpkeepRow.task_id)
    .join(ItemRow, ItemRow.id == UpkeepRow.item_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .where(UpkeepRow.id == bindparam("entry"))
)
# Whoever withdraws it at another desk waits here, so that nothing is withdrawn twice.
_LOCK = select(ItemRow.id).where(ItemRow.tag == bindparam("tag")).with_for_update()
_WITHDRAWAL = select(UpkeepRow.id).where(UpkeepRow.withdraws_id == bindparam("entry"))
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
    entry: int
    again: bool = False


@dataclass(frozen=True, slots=True)
class Undone:
    """The second entry that withdraws a mistaken one, and when the task is due now."""

    entry: int
    withdraws: int
    done: Done
    again: bool = False


def record_done(db: Connection, slip: DoneSlip, *, by: Actor, now: datetime) -> Done:
    """Record one task as done and work out when it is due next."""
    item = find_item(db, slip.item)
    site = find_site(db, item.site)
    task = _task(db, item, slip.task)
    same = db.execute(_SAME, {"client": slip.client_id}).first()
    if same is not None:
        if tuple(same[1:]) != (item.id, task.name, slip.done_on, None):
            raise used_otherwise(slip.client_id)
        return _answer(item, slip.done_on, task, same.id, again=True)
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
    entry = write_done(
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
    body = {
        "entry": entry,
        "task": task.name,
        "done_on": str(slip.done_on),
        "note": slip.note,
        "cycles": cycles,
    }
    daybook.enter(db, site.id, by=by, now=now, act="upkeep done", about=item.tag, body=body)
    return _answer(item, slip.done_on, _task(db, item, slip.task), entry, again=False)


def withdraw(db: Connection, entry: int, reason: str, *, client_id: str, by: Actor, now: datetime) -> Undone:
    """Withdraw one mistaken entry by a second one; both stay readable and count for nothing."""
    found = db.execute(_ENTRY, {"entry": entry}).first()
    if found is None:
        raise NotFound(
            f"There is no entry {entry} of upkeep. See the entries of an item with: fleet done TAG"
        )
    item = find_item(db, found.tag)
    same = db.execute(_SAME, {"client": client_id}).first()
    if same is not None:
        if same.withdraws_id != entry:
            raise used_otherwise(client_id)
        return Undone(same.id, entry, _now_due(db, item, found), again=True)
    site = find_site(db, found.site)
    require(by, site.id, site.name, Role.KEEPER)
    why = written_reason(reason, "why the entry is wrong")
    db.execute(_LOCK, {"tag": found.tag})
    _check_withdrawable(db, found)
    second = withdraw_done(db, entry, why, by=by, now=now, client_id=client_id)
    body = {
        "entry": second,
        "withdraws": entry,
        "task": found.name,
        "done_on": str(found.done_on),
        "reason": why,
    }
    daybook.enter(db, site.id, by=by, now=now, act="upkeep withdrawn", about=item.tag, body=body)
    return Undone(second, entry, _now_due(db, item, found))


def _check_withdrawable(db: Connection, found: AnyRow) -> None:
    """An entry that something else proves goes with that, and one that withdraws another stays."""
    if found.withdraws_id is not None:
        raise NotPossible(f"Entry {found.id} itself withdraws entry {found.withdraws_id}. Record it anew.")
    second = db.execute(_WITHDRAWAL, {"entry": found.id}).scalar()
    if second is not None:
        raise NotPossible(f"Entry {found.id} was already withdrawn by entry {second}.")
    for what, number in (
        ("inspection", found.inspection_id),
        ("proof test", found.proof_test_id),
        ("certificate", found.calibration_id),
    ):
        if number is not None:
            raise NotPossible(
                f"Entry {found.id} rests on {what} {number}, and goes when that is withdrawn, not alone."
            )


def _now_due(db: Connection, item: ItemLine, found: AnyRow) -> Done:
    # A retired item has no due lines, and a task may have been replaced since.
    known = db.execute(_TASKS, {"item": item.id}).all()
    task = next((task for task in known if task.name == found.name), None)
    if task is None:
        return Done(item.tag, found.name, found.done_on, None, None, None, found.id)
    return _answer(item, found.done_on, task, found.id, again=False)


def _answer(item: ItemLine, done_on: date, task: AnyRow, entry: int, *, again: bool) -> Done:
    return Done(
        item.tag, task.name, done_on, task.due_on, task.due_cycles, task.due_minutes, entry, again=again
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
