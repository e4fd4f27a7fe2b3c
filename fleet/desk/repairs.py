"""Repairs: what was changed on an item, and which tasks must be done again before it goes out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select
from sqlalchemy.orm import aliased

from fleet.ledgers import daybook
from fleet.ledgers.due_lines import refresh
from fleet.ledgers.files import attach, keep
from fleet.ledgers.upkeep import meter_then
from fleet.lists.items import ItemLine, find_item, item_facts
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.records import DueLineRow, ItemRow, RepairRow, TaskAfterRepairRow, TaskRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.people import Actor, require
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role
from fleet.rules.requests import used_otherwise
from fleet.rules.upkeep import CountsFrom

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.evidence import Work
    from fleet.rules.photographs import Photograph

_ADD = insert(rows_of(RepairRow))
_SAME = select(RepairRow.id, RepairRow.item_id, RepairRow.work, RepairRow.done_on).where(
    RepairRow.client_id == bindparam("client")
)
_RECEIVED = select(ItemRow.received_on).where(ItemRow.id == bindparam("item"))
_LISTED = aliased(TaskRow)
# By name, as due lines go: a model's own task takes the place of its kind's.
_AGAIN = (
    select(TaskRow.name)
    .join(DueLineRow, DueLineRow.task_id == TaskRow.id)
    .where(
        DueLineRow.item_id == bindparam("item"),
        DueLineRow.due_on < bindparam("done_on", type_=DueLineRow.due_on.type),
        TaskRow.counts_from != CountsFrom.ASSEMBLY.value,
        TaskRow.name.in_(
            select(_LISTED.name)
            .join(TaskAfterRepairRow, TaskAfterRepairRow.task_id == _LISTED.id)
            .where(TaskAfterRepairRow.work == bindparam("work"))
        ),
    )
    .order_by(TaskRow.name)
)


@dataclass(frozen=True, slots=True)
class RepairSlip:
    """What was changed on which item, when, and what it looks like now."""

    client_id: str
    item: str
    work: Work
    description: str
    done_on: date
    photographs: tuple[Photograph, ...] = ()


@dataclass(frozen=True, slots=True)
class Repaired:
    """One repair on record, and the tasks that are due because of it."""

    number: int
    tag: str
    work: str
    done_on: date
    due_again: tuple[str, ...]
    on_hold: bool
    again: bool = False


def record_repair(db: Connection, slip: RepairSlip, *, by: Actor, now: datetime) -> Repaired:
    """Record one repair; the tasks listed for it are overdue until they are done again."""
    item = find_item(db, slip.item)
    site = find_site(db, item.site)
    same = db.execute(_SAME, {"client": slip.client_id}).first()
    if same is not None:
        if (same.item_id, same.work, same.done_on) != (item.id, slip.work, slip.done_on):
            raise used_otherwise(slip.client_id)
        return _answer(db, item, slip, same.id, again=True)
    require(by, site.id, site.name, Role.KEEPER)
    description = written_reason(slip.description, "what was changed and why")
    _check(db, item, slip.done_on, site.today(now), now)
    cycles, minutes = meter_then(db, item.id, slip.done_on)
    row = {
        "client_id": slip.client_id,
        "item_id": item.id,
        "work": slip.work,
        "description": description,
        "done_on": slip.done_on,
        "cycles_at": cycles,
        "minutes_at": minutes,
        "by_id": by.id,
        "by_name": by.name,
        "recorded_at": now,
    }
    (number,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    for photograph in slip.photographs:
        kept = keep(db, photograph.content, photograph.media_type, by=by, now=now)
        attach(db, kept, repair_id=number)
    refresh(db, [item.id], lambda _site: site.today(now))
    done = _answer(db, item, slip, number, again=False)
    body = {
        "repair": number,
        "work": slip.work,
        "description": description,
        "done_on": str(slip.done_on),
        "cycles": cycles,
        "minutes": minutes,
        "due_again": done.due_again,
        "photographs": [photograph.sha256 for photograph in slip.photographs],
    }
    daybook.enter(db, site.id, by=by, now=now, act="repaired", about=item.tag, body=body)
    return done


def _check(db: Connection, item: ItemLine, done_on: date, today: date, now: datetime) -> None:
    """Only what is here can have been repaired here, and only until today."""
    tag = show_tag(item.tag)
    if item.retired_on:
        raise NotPossible(f"{tag} was retired on {show_day(item.retired_on)}.")
    facts = item_facts(db, [item.id], now=now, lock=True)[item.id]
    if facts.out:
        raise NotPossible(f"{tag} is out with {facts.out.borrower}. Take it back first.")
    if facts.away:
        raise NotPossible(f"{tag} is away at {facts.away.sent_to}. Take it back from there first.")
    if done_on > today:
        raise NotPossible(f"{show_day(done_on)} is still to come; only what was done can be recorded.")
    received = db.execute(_RECEIVED, {"item": item.id}).scalar_one()
    if done_on < received:
        raise NotPossible(f"{tag} was only received on {show_day(received)}.")


def _answer(db: Connection, item: ItemLine, slip: RepairSlip, number: int, *, again: bool) -> Repaired:
    asked = {"item": item.id, "work": slip.work, "done_on": slip.done_on}
    due: Sequence[str] = db.execute(_AGAIN, asked).scalars().all()
    return Repaired(number, item.tag, slip.work, slip.done_on, tuple(due), item.on_hold, again)
