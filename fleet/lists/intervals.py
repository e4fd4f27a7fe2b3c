"""What the register's certificates say about intervals, and the proposals that were made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import Text, bindparam, case, func, or_, select
from sqlalchemy.orm import aliased

from fleet.lists.rows import lines
from fleet.records import (
    CalibrationRow,
    DueLineRow,
    IntervalProposalRow,
    ItemRow,
    ModelRow,
    PersonRow,
    TaskRow,
)
from fleet.refusals import NotFound
from fleet.rules.calibrations import Result
from fleet.rules.evidence import Standing

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class ProposalLine:
    """One proposal; ``tag`` is empty for a whole kind or model, ``choice`` while nobody decided."""

    id: int
    task: str
    kind: str
    model: str | None
    tag: str | None
    method: str
    evidence: str
    now_months: int | None
    proposed_months: int
    made_at: datetime
    made_by: str | None
    choice: str | None
    decided_at: datetime | None
    decided_by: str | None
    decision_reason: str | None
    task_id: int
    item_id: int | None


@dataclass(frozen=True, slots=True)
class WholeTask:
    """A task of a whole kind, or of one model."""

    id: int
    name: str
    kind: str
    model: str | None
    every_months: int | None


_DECIDER = aliased(PersonRow)
_PROPOSALS = (
    select(
        IntervalProposalRow.id,
        TaskRow.name,
        TaskRow.kind,
        ModelRow.designation,
        ItemRow.tag,
        IntervalProposalRow.method,
        IntervalProposalRow.evidence,
        IntervalProposalRow.now_months,
        IntervalProposalRow.proposed_months,
        IntervalProposalRow.made_at,
        PersonRow.name.label("made_by"),
        IntervalProposalRow.choice,
        IntervalProposalRow.decided_at,
        _DECIDER.name.label("decided_by"),
        IntervalProposalRow.decision_reason,
        IntervalProposalRow.task_id,
        IntervalProposalRow.item_id,
    )
    .join(TaskRow, TaskRow.id == IntervalProposalRow.task_id)
    .outerjoin(ModelRow, ModelRow.id == TaskRow.model_id)
    .outerjoin(ItemRow, ItemRow.id == IntervalProposalRow.item_id)
    .outerjoin(PersonRow, PersonRow.id == IntervalProposalRow.made_by_id)
    .outerjoin(_DECIDER, _DECIDER.id == IntervalProposalRow.decided_by_id)
)
_LIST = _PROPOSALS.where(or_(bindparam("decided"), IntervalProposalRow.choice.is_(None))).order_by(
    IntervalProposalRow.id
)
_BY_NUMBER = _PROPOSALS.where(IntervalProposalRow.id == bindparam("number"))
_TASKS = (
    select(TaskRow.id, TaskRow.name, TaskRow.kind, ModelRow.designation, TaskRow.every_months)
    .outerjoin(ModelRow, ModelRow.id == TaskRow.model_id)
    .where(
        or_(bindparam("kind", type_=Text()).is_(None), TaskRow.kind == bindparam("kind")),
        ModelRow.designation.is_not_distinct_from(bindparam("model", type_=Text())),
    )
    .order_by(TaskRow.name)
)
_WITHIN = case((CalibrationRow.as_found.in_([Result.PASS, Result.CONDITIONAL_PASS]), 1), else_=0)
_COUNTS = (
    select(func.count(CalibrationRow.id), func.coalesce(func.sum(_WITHIN), 0))
    .join(DueLineRow, DueLineRow.item_id == CalibrationRow.item_id)
    .join(TaskRow, TaskRow.id == CalibrationRow.task_id)
    .where(
        DueLineRow.task_id == bindparam("task"),
        TaskRow.name == bindparam("name"),
        or_(
            bindparam("item", type_=CalibrationRow.id.type).is_(None), DueLineRow.item_id == bindparam("item")
        ),
        CalibrationRow.as_found.is_not(None),
        CalibrationRow.standing != Standing.REFUSED,
    )
)
_ITEMS = (
    select(DueLineRow.item_id).where(DueLineRow.task_id == bindparam("task")).order_by(DueLineRow.item_id)
)
_RECENT = select(DueLineRow.recent_cycles, DueLineRow.recent_days).where(
    DueLineRow.item_id == bindparam("item"), DueLineRow.task_id == bindparam("task")
)
_SINCE = select(func.count(CalibrationRow.id)).where(
    CalibrationRow.item_id == bindparam("item"),
    CalibrationRow.received_at > bindparam("at", type_=CalibrationRow.received_at.type),
)


def proposals(db: Connection, *, decided: bool = False) -> list[ProposalLine]:
    """Every proposal that nobody has decided yet; all of them when asked for."""
    return lines(ProposalLine, db.execute(_LIST, {"decided": decided}))


def find_proposal(db: Connection, number: int) -> ProposalLine:
    """One proposal by its number."""
    found = lines(ProposalLine, db.execute(_BY_NUMBER, {"number": number}))
    if not found:
        raise NotFound(f"There is no proposal {number}. See: fleet interval list")
    return found[0]


def whole_task(db: Connection, asked: str, *, kind: str | None, model: str | None) -> WholeTask:
    """The task of a kind, or of a model that has one of its own, by its name."""
    wanted = " ".join(asked.split()).casefold()
    found = lines(WholeTask, db.execute(_TASKS, {"kind": kind, "model": model}))
    for task in found:
        if task.name.casefold() == wanted:
            return task
    names = ", ".join(task.name for task in found) or "none"
    hint = " Its kind's task goes for it: name --kind." if model else ""
    raise NotFound(f"{model or kind} has no upkeep task {asked!r} of its own. Its tasks: {names}.{hint}")


def found_within(db: Connection, task_id: int, name: str, item_id: int | None = None) -> tuple[int, int]:
    """How many certificates were found within tolerance, of how many, for all items of a task or for one."""
    count, within = db.execute(_COUNTS, {"task": task_id, "name": name, "item": item_id}).one()
    return int(within), int(count)


def items_of_task(db: Connection, task_id: int) -> list[int]:
    """The items that a task is due on."""
    return list(db.execute(_ITEMS, {"task": task_id}).scalars())


def recent_cycles(db: Connection, item_id: int, task_id: int) -> tuple[int, int]:
    """The cycles of an item in the recent days on which its forecast rests, and how many days those are."""
    cycles, days = db.execute(_RECENT, {"item": item_id, "task": task_id}).one()
    return int(cycles), int(days)


def certificates_since(db: Connection, item_id: int, at: datetime) -> int:
    """How many certificates of an item were taken in after an instant."""
    return int(db.execute(_SINCE, {"item": item_id, "at": at}).scalar_one())
