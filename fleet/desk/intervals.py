"""Intervals: proposed from the certificates on record; a safety officer takes or declines a proposal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select, update

from fleet.bolting.charts import torque_at
from fleet.ledgers import daybook
from fleet.ledgers.due_lines import refresh
from fleet.ledgers.limits import write_limit
from fleet.lists.calibrations import subject_of
from fleet.lists.drift import drift
from fleet.lists.intervals import (
    ProposalLine,
    certificates_since,
    find_proposal,
    found_within,
    items_of_task,
    recent_cycles,
    whole_task,
)
from fleet.lists.items import find_item
from fleet.lists.limits import clocked_task
from fleet.lists.sites import find_site, sites
from fleet.measures.tags import show_tag
from fleet.records import IntervalProposalRow, ItemRow, TaskRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible, OffTheChart
from fleet.rules.drift import DAYS_IN_A_MONTH, Method, propose_by_drift, shares_as_found
from fleet.rules.evidence import Choice
from fleet.rules.intervals import by_reliability, in_use_time, reliability, staircase, staircase_by_count
from fleet.rules.limits import Clocks, check_taken
from fleet.rules.people import Actor, require, require_anywhere
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine
    from fleet.lists.limits import ClockedTask
    from fleet.rules.intervals import IntervalPolicy, Proposal

_SHARED = 0
_PROPOSALS, _TASKS = rows_of(IntervalProposalRow), rows_of(TaskRow)
_ADD = insert(_PROPOSALS)
_DECIDE = (
    update(_PROPOSALS)
    .where(_PROPOSALS.c.id == bindparam("number"), _PROPOSALS.c.choice.is_(None))
    .values(
        choice=bindparam("chosen"),
        decided_at=bindparam("now"),
        decided_by_id=bindparam("by"),
        decision_reason=bindparam("why"),
    )
)
_CHANGE = update(_TASKS).where(_TASKS.c.id == bindparam("task")).values(every_months=bindparam("months"))
_MONTHS = select(TaskRow.every_months).where(TaskRow.id == bindparam("task")).with_for_update()
_LOCK = select(ItemRow.id).where(ItemRow.id == bindparam("item")).with_for_update()


@dataclass(frozen=True, slots=True)
class ProposeSlip:
    """For which task of what, by which method, and by the room's policy. One of item, kind and model."""

    task: str
    method: Method
    policy: IntervalPolicy
    item: str | None = None
    kind: str | None = None
    model: str | None = None
    target: float = 0.95
    confidence: float = 0.95


def propose(db: Connection, slip: ProposeSlip, *, by: Actor, now: datetime) -> ProposalLine:
    """Work an interval out and keep it as a proposal; nothing changes by it."""
    if slip.item is not None:
        item = find_item(db, slip.item)
        site = find_site(db, item.site)
        require(by, site.id, site.name, Role.KEEPER, Role.SAFETY)
        task = clocked_task(db, item, slip.task)
        made = _for_item(db, slip, item, task)
        row: dict[str, object] = {"task_id": task.id, "item_id": item.id, "now_months": task.months}
        chain, about = site.id, item.tag
    else:
        require_anywhere(by, Role.KEEPER, Role.SAFETY)
        whole = whole_task(db, slip.task, kind=slip.kind, model=slip.model)
        within, count = found_within(db, whole.id, whole.name)
        made = _by_counts(slip, _months(whole.every_months, whole.name), within, count)
        row = {"task_id": whole.id, "item_id": None, "now_months": whole.every_months}
        chain, about = _SHARED, whole.model or whole.kind
    row |= {
        "method": made.method,
        "evidence": made.evidence,
        "proposed_months": made.interval,
        "made_at": now,
        "made_by_id": by.id,
    }
    (number,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    line = find_proposal(db, number)
    body = {
        "proposal": number,
        "task": line.task,
        "method": made.method,
        "evidence": made.evidence,
        "now_months": line.now_months,
        "proposed_months": made.interval,
    }
    daybook.enter(db, chain, by=by, now=now, act="interval proposed", about=about, body=body)
    return line


def _for_item(db: Connection, slip: ProposeSlip, item: ItemLine, task: ClockedTask) -> Proposal:
    current = _months(task.months, task.name)
    if slip.method is Method.STAIRCASE:
        return staircase(current, shares_as_found(drift(db, item)), slip.policy)
    if slip.method is Method.CONTROL_CHART:
        chart = subject_of(db, item).chart

        def charted(pressure_mpa: float) -> float | None:
            try:
                return torque_at(chart, pressure_mpa).torque_nm if chart else None
            except OffTheChart:
                return None

        found = drift(db, item)
        return propose_by_drift(current, found, slip.policy, charted=charted, confidence=slip.confidence)
    if slip.method is Method.IN_USE:
        if task.cycles is None:
            raise NotPossible(f"{task.name!r} of {show_tag(item.tag)} has no limit of cycles to reckon with.")
        cycles, days = recent_cycles(db, item.id, task.id)
        return in_use_time(current, task.cycles, cycles, days / DAYS_IN_A_MONTH, slip.policy)
    within, count = found_within(db, task.id, task.name, item.id)
    return _by_counts(slip, current, within, count)


def _by_counts(slip: ProposeSlip, current: int, within: int, count: int) -> Proposal:
    if slip.method is Method.STAIRCASE:
        return staircase_by_count(current, within, count, slip.target, slip.policy)
    if slip.method is not Method.TEST:
        raise NotPossible(f"A {slip.method} is of one item: give its tag, or use test or staircase.")
    return by_reliability(current, reliability(within, count, slip.confidence), slip.target, slip.policy)


def _months(months: int | None, task: str) -> int:
    if months is None:
        raise NotPossible(f"{task!r} has no interval in months, so there is none to propose from.")
    return months


def take(db: Connection, number: int, reason: str, *, by: Actor, now: datetime) -> ProposalLine:
    """Take a proposal: an item gets its own limit, a kind's or model's task its new interval."""
    line = _open(db, number, by)
    why = written_reason(reason, "why the proposal is taken")
    if line.tag is not None:
        _take_item(db, line, line.tag, why, by=by, now=now)
    else:
        check_taken(
            line.now_months, db.execute(_MONTHS, {"task": line.task_id}).scalar(), line.proposed_months
        )
        db.execute(_CHANGE, {"task": line.task_id, "months": line.proposed_months})
        today = {site.id: site.today(now) for site in sites(db)}
        refresh(db, items_of_task(db, line.task_id), today.__getitem__)
    return _decided(db, line, Choice.TAKEN, why, by=by, now=now)


def _take_item(db: Connection, line: ProposalLine, tag: str, why: str, *, by: Actor, now: datetime) -> None:
    item = find_item(db, tag)
    db.execute(_LOCK, {"item": item.id})
    task = clocked_task(db, item, line.task)
    check_taken(line.now_months, task.months, line.proposed_months)
    if certificates_since(db, item.id, line.made_at):
        raise NotPossible(
            f"A certificate of {show_tag(tag)} was taken in since the proposal was made: make a new one."
        )
    write_limit(
        db,
        item_id=item.id,
        task_id=task.id,
        clocks=Clocks(line.proposed_months, task.limit.cycles, task.limit.minutes),
        reason=why,
        document=f"Interval proposal {line.id}: {line.method}",
        by=by,
        now=now,
        today=find_site(db, item.site).today(now),
    )


def decline(db: Connection, number: int, reason: str, *, by: Actor, now: datetime) -> ProposalLine:
    """Decline a proposal, with the reason; nothing changes."""
    line = _open(db, number, by)
    why = written_reason(reason, "why the proposal is declined")
    return _decided(db, line, Choice.DECLINED, why, by=by, now=now)


def _open(db: Connection, number: int, by: Actor) -> ProposalLine:
    require_anywhere(by, Role.SAFETY)
    line = find_proposal(db, number)
    if line.tag is not None:
        site = find_site(db, find_item(db, line.tag).site)
        require(by, site.id, site.name, Role.SAFETY)
    if line.choice:
        raise NotPossible(f"Proposal {number} was {line.choice} already by {line.decided_by}.")
    return line


def _decided(
    db: Connection, line: ProposalLine, choice: Choice, why: str, *, by: Actor, now: datetime
) -> ProposalLine:
    db.execute(_DECIDE, {"number": line.id, "chosen": choice, "now": now, "by": by.id, "why": why})
    site = find_site(db, find_item(db, line.tag).site).id if line.tag else _SHARED
    body = {
        "proposal": line.id,
        "task": line.task,
        "choice": choice,
        "reason": why,
        "months": line.proposed_months,
        "before": line.now_months,
        "method": line.method,
    }
    about = line.tag or line.model or line.kind
    daybook.enter(db, site, by=by, now=now, act=f"interval {choice}", about=about, body=body)
    return find_proposal(db, line.id)
