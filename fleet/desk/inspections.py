"""Inspections: every checkpoint answered by somebody who may; whatever is rejected is kept in at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select

from fleet.ledgers import daybook
from fleet.ledgers.files import attach, keep
from fleet.ledgers.holds import open_hold
from fleet.ledgers.upkeep import meter_then, write_done
from fleet.lists.checklists import find_checklist
from fleet.lists.competence import held_for
from fleet.lists.items import ItemLine, find_item
from fleet.lists.sites import find_site
from fleet.lists.tasks import tasks_of
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.records import InspectionAnswerRow, InspectionRow, ItemRow, TaskRow, UpkeepRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.competence import require_competence
from fleet.rules.conditions import HoldCause
from fleet.rules.evidence import Answer, Occasion
from fleet.rules.inspections import (
    Given,
    Seen,
    competences_for,
    judge_answers,
    rejected_because,
    task_fulfilled,
    worst_of,
)
from fleet.rules.people import Actor, require
from fleet.rules.register import Role
from fleet.rules.requests import used_otherwise

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.checklists import Checklist
    from fleet.rules.inspections import TaskFacts
    from fleet.rules.photographs import Photograph

_ADD = insert(rows_of(InspectionRow))
_ADD_ANSWER = insert(rows_of(InspectionAnswerRow))
_SAME = (
    select(
        InspectionRow.id,
        InspectionRow.item_id,
        InspectionRow.occasion,
        InspectionRow.inspected_on,
        InspectionRow.result,
        InspectionRow.withdraws_id,
        TaskRow.name.label("fulfilled"),
    )
    .select_from(InspectionRow)
    .outerjoin(UpkeepRow, UpkeepRow.client_id == bindparam("entry"))
    .outerjoin(TaskRow, TaskRow.id == UpkeepRow.task_id)
    .where(InspectionRow.client_id == bindparam("client"))
)
# On PostgreSQL nobody else may write about the item meanwhile; SQLite has its write lock.
_LOCK = select(ItemRow.received_on).where(ItemRow.id == bindparam("item")).with_for_update()


@dataclass(frozen=True, slots=True)
class Shot:
    """One photograph of an inspection, and the checkpoint that it shows, if it is of one."""

    photograph: Photograph
    position: int | None = None


@dataclass(frozen=True, slots=True)
class InspectionSlip:
    """What was inspected, why, and what was seen at each checkpoint.

    ``all_fine`` answers the checkpoints that nobody answered. ``task`` names the upkeep task to fulfil.
    ``checklist_version`` is given when somebody was asked by that version; it must still be the one in use.
    """

    client_id: str
    item: str
    occasion: Occasion
    answers: tuple[Given, ...]
    inspected_on: date
    all_fine: bool = False
    task: str | None = None
    note: str | None = None
    shots: tuple[Shot, ...] = ()
    checklist_version: int | None = None


@dataclass(frozen=True, slots=True)
class Inspected:
    """What an inspection came to: its number, the task it fulfilled, and whether a hold was opened."""

    number: int
    tag: str
    occasion: str
    result: str
    fulfilled: str | None
    held: bool
    again: bool = False


@dataclass(frozen=True, slots=True)
class _Judged:
    """An inspection that may be written."""

    checklist: Checklist
    seen: tuple[Seen, ...]
    result: Answer
    task: TaskFacts | None


def record_inspection(db: Connection, slip: InspectionSlip, *, by: Actor, now: datetime) -> Inspected:
    """Record one inspection by whoever acts; a reject puts the item on hold in the same transaction."""
    item = find_item(db, slip.item)
    before = _repeated(db, slip, item)
    if before:
        return before
    site = find_site(db, item.site)
    require(by, site.id, site.name, Role.KEEPER, Role.SAFETY)
    judged = _judge(db, slip, item, by=by, today=site.today(now))
    cycles, minutes = meter_then(db, item.id, slip.inspected_on)
    row = {
        "client_id": slip.client_id,
        "item_id": item.id,
        "occasion": slip.occasion,
        "task_id": judged.task.id if judged.task else None,
        "checklist_version": judged.checklist.version,
        "inspected_on": slip.inspected_on,
        "result": judged.result,
        "note": slip.note,
        "cycles_at": cycles,
        "minutes_at": minutes,
        "by_id": by.id,
        "by_name": by.name,
        "recorded_at": now,
    }
    (number,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    _write_answers(db, number, judged.seen)
    body = _body(slip, judged, number) | {"photographs": _keep_shots(db, slip, number, by=by, now=now)}
    daybook.enter(db, site.id, by=by, now=now, act="inspected", about=item.tag, body=body)
    fulfilled = _follow(db, slip, judged, number, item, by=by, now=now)
    held = judged.result is Answer.REJECT
    return Inspected(number, item.tag, slip.occasion, judged.result, fulfilled, held)


def _repeated(db: Connection, slip: InspectionSlip, item: ItemLine) -> Inspected | None:
    """The answer given before to this very slip."""
    asked = {"client": slip.client_id, "entry": _entry_id(slip)}
    row = db.execute(_SAME, asked).first()
    if row is None:
        return None
    same = (row.item_id, row.occasion, row.inspected_on, row.withdraws_id)
    if same != (item.id, slip.occasion, slip.inspected_on, None):
        raise used_otherwise(slip.client_id)
    held = row.result == Answer.REJECT
    return Inspected(row.id, item.tag, row.occasion, row.result, row.fulfilled, held, again=True)


def _entry_id(slip: InspectionSlip) -> str:
    return f"{slip.client_id}/done"


def _judge(db: Connection, slip: InspectionSlip, item: ItemLine, *, by: Actor, today: date) -> _Judged:
    """All that speaks against writing it: the day, the task, who inspects, and the answers."""
    tag = show_tag(item.tag)
    received = db.execute(_LOCK, {"item": item.id}).scalar_one()
    if item.retired_on:
        raise NotPossible(f"{tag} was retired on {show_day(item.retired_on)}.")
    if slip.inspected_on > today:
        raise NotPossible(f"{show_day(slip.inspected_on)} is still to come; only what was done is recorded.")
    if slip.inspected_on < received:
        raise NotPossible(f"{tag} was only received on {show_day(received)}.")
    tasks = tasks_of(db, item.id)
    task = task_fulfilled(tag, tasks, slip.occasion, slip.task)
    wanted = competences_for(slip.occasion, task, tasks)
    require_competence((by.id, by.name), item.kind, wanted, held_for(db, item.kind), today=today)
    checklist = find_checklist(db, item.kind)
    if slip.checklist_version not in (None, checklist.version):
        raise NotPossible(
            f"The checklist for a {item.kind} was changed meanwhile; answer version {checklist.version}."
        )
    for shot in slip.shots:
        if shot.position is not None and not 1 <= shot.position <= len(checklist.points):
            raise NotPossible(f"There is no checkpoint {shot.position} that a photograph could show.")
    seen = judge_answers(checklist, slip.answers, all_fine=slip.all_fine)
    return _Judged(checklist, seen, worst_of(seen), task)


def _write_answers(db: Connection, number: int, seen: tuple[Seen, ...]) -> None:
    rows = [
        {
            "inspection_id": number,
            "position": one.position,
            "wording": one.wording,
            "answer": one.answer,
            "remark": one.remark,
        }
        for one in seen
    ]
    db.execute(_ADD_ANSWER, rows)


def _keep_shots(
    db: Connection, slip: InspectionSlip, number: int, *, by: Actor, now: datetime
) -> list[dict[str, object]]:
    """Keep the photographs, each once; answers what the day book says of them."""
    for shot in slip.shots:
        photograph = shot.photograph
        kept = keep(db, photograph.content, photograph.media_type, by=by, now=now)
        attach(db, kept, position=shot.position, inspection_id=number)
    return [{"sha256": shot.photograph.sha256, "checkpoint": shot.position} for shot in slip.shots]


def _body(slip: InspectionSlip, judged: _Judged, number: int) -> dict[str, object]:
    """What an auditor would ask; checkpoints that are fine are only counted, their wording is on record."""
    return {
        "inspection": number,
        "occasion": slip.occasion,
        "task": judged.task.name if judged.task else None,
        "inspected_on": str(slip.inspected_on),
        "checklist_version": judged.checklist.version,
        "result": judged.result,
        "fine": sum(one.answer is Answer.FINE for one in judged.seen),
        "seen": [
            {"checkpoint": one.position, "wording": one.wording, "answer": one.answer, "remark": one.remark}
            for one in judged.seen
            if one.answer is not Answer.FINE or one.remark
        ],
        "note": slip.note,
    }


def _follow(
    db: Connection,
    slip: InspectionSlip,
    judged: _Judged,
    number: int,
    item: ItemLine,
    *,
    by: Actor,
    now: datetime,
) -> str | None:
    """The hold after a reject, or else the task that is done now; answers its name."""
    if judged.result is Answer.REJECT:
        why = f"Inspection {number}: {rejected_because(judged.seen)}"
        open_hold(db, item_id=item.id, cause=HoldCause.INSPECTION, reason=why, by=by, now=now)
        return None
    if judged.task is None:
        return None
    cycles, minutes = meter_then(db, item.id, slip.inspected_on)
    write_done(
        db,
        item_id=item.id,
        task_id=judged.task.id,
        done_on=slip.inspected_on,
        cycles_at=cycles,
        minutes_at=minutes,
        by=by,
        now=now,
        client_id=_entry_id(slip),
        inspection_id=number,
    )
    return judged.task.name
