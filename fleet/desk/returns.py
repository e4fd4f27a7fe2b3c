"""Taking back: use goes into the ledger, damage onto hold, and what the use made due is said at once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import and_, bindparam, exists, func, insert, select, update

from fleet.ledgers import daybook
from fleet.ledgers.breakouts import Breakout, Told, write_breakout
from fleet.ledgers.due_lines import MeterLine, move_meters
from fleet.ledgers.holds import open_hold
from fleet.lists.items import find_item
from fleet.lists.jobs import find_job, find_joint
from fleet.lists.served import served
from fleet.measures.tags import read_tag, show_tag
from fleet.measures.times import local_day, zone
from fleet.records import (
    DueLineRow,
    ItemRow,
    JobRow,
    LimitRow,
    LoanLineRow,
    LoanRow,
    SiteRow,
    TaskRow,
    UsageRow,
)
from fleet.records.base import rows_of
from fleet.records.prepared import Prepared
from fleet.refusals import NotPossible, Unreadable
from fleet.rules.conditions import Condition, HoldCause
from fleet.rules.due import PACE_DAYS, Clocks, Meter
from fleet.rules.people import Actor, require
from fleet.rules.register import Role
from fleet.rules.requests import used_otherwise
from fleet.rules.usage import check_use

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine
    from fleet.lists.jobs import JobLine
    from fleet.lists.rows import AnyRow

_LINES, _ITEMS = rows_of(LoanLineRow), rows_of(ItemRow)
_ADD_USE = Prepared(insert(rows_of(UsageRow)))
_FIND = Prepared(
    select(
        ItemRow.id,
        ItemRow.tag,
        ItemRow.site_id,
        ItemRow.cycles,
        ItemRow.minutes,
        SiteRow.name.label("site"),
        SiteRow.time_zone,
        LoanLineRow.id.label("line"),
        LoanLineRow.planned_cycles,
        LoanLineRow.planned_minutes,
        LoanRow.job_id,
        TaskRow.id.label("task_id"),
        TaskRow.name.label("task"),
        TaskRow.every_months,
        func.coalesce(LimitRow.every_cycles, TaskRow.every_cycles).label("every_cycles"),
        func.coalesce(LimitRow.every_minutes, TaskRow.every_minutes).label("every_minutes"),
        DueLineRow.due_on,
        DueLineRow.due_cycles,
        DueLineRow.due_minutes,
        DueLineRow.use_left,
        DueLineRow.forecast_on,
        exists().where(UsageRow.client_id == bindparam("client")).label("known"),
    )
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .outerjoin(LoanLineRow, and_(LoanLineRow.item_id == ItemRow.id, LoanLineRow.returned_at.is_(None)))
    .outerjoin(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .outerjoin(DueLineRow, and_(DueLineRow.item_id == ItemRow.id, DueLineRow.use_left.is_not(None)))
    .outerjoin(TaskRow, TaskRow.id == DueLineRow.task_id)
    .outerjoin(
        LimitRow,
        and_(
            LimitRow.item_id == ItemRow.id,
            LimitRow.task_id == DueLineRow.task_id,
            LimitRow.ended_at.is_(None),
        ),
    )
    .where(ItemRow.tag == bindparam("asked"))
)
_BEFORE = (
    select(UsageRow.cycles, UsageRow.minutes, LoanLineRow.condition, ItemRow.tag)
    .join(LoanLineRow, LoanLineRow.id == UsageRow.loan_line_id)
    .join(ItemRow, ItemRow.id == UsageRow.item_id)
    .where(UsageRow.client_id == bindparam("client"))
)
_JOB = select(JobRow.code).where(JobRow.id == bindparam("job"))
_CLOSE = Prepared(
    update(_LINES)
    .where(_LINES.c.id == bindparam("line"), _LINES.c.returned_at.is_(None))
    .values(
        returned_at=bindparam("now"),
        returned_by_id=bindparam("by"),
        condition=bindparam("how"),
        note=bindparam("remark"),
    )
)
_SINCE = bindparam("since", type_=UsageRow.used_on.type)
_OF_LATE = (UsageRow.item_id == bindparam("item"), UsageRow.used_on > _SINCE)
# The new meter, and what was used of late, in the one statement that a return cannot do without.
_COUNT = Prepared(
    update(_ITEMS)
    .where(_ITEMS.c.id == bindparam("item"))
    .values(
        cycles=_ITEMS.c.cycles + bindparam("more_cycles"),
        minutes=_ITEMS.c.minutes + bindparam("more_minutes"),
    )
    .returning(
        _ITEMS.c.cycles,
        _ITEMS.c.minutes,
        select(func.sum(UsageRow.cycles)).where(*_OF_LATE).scalar_subquery(),
        select(func.sum(UsageRow.minutes)).where(*_OF_LATE).scalar_subquery(),
    )
)


@dataclass(frozen=True, slots=True)
class ReturnSlip:
    """What comes back. Both ``cycles`` and ``minutes`` empty means: the same as planned."""

    client_id: str
    item: str
    cycles: int | None
    minutes: int | None
    condition: str
    note: str | None = None
    breakouts: tuple[tuple[str, str], ...] = ()
    """Of a wrench: joint of its job, and the torque or pump pressure at which a nut broke loose."""
    joint: str | None = None
    """The one joint of its job that it was used on."""


@dataclass(frozen=True, slots=True)
class Receipt:
    """What a return did: the meter as it now stands, tasks now due by use, and whether a hold was opened."""

    tag: str
    cycles: int
    minutes: int
    total_cycles: int
    total_minutes: int
    due_by_use: tuple[str, ...]
    held: bool
    again: bool = False
    breakouts: tuple[Breakout, ...] = ()


def take_back(db: Connection, slip: ReturnSlip, *, by: Actor, now: datetime) -> Receipt:
    """Close the loan of one item, book its use, move its due lines, and hold it when it is damaged."""
    rows = _find(db, slip)
    item = rows[0]
    if item.known or item.line is None:
        return _repeated(db, slip, item)
    require(by, item.site_id, item.site, Role.KEEPER)
    use = _use(db, slip, item)
    today = local_day(now, zone(item.time_zone))

    _close(db, slip, item, by=by, now=now)
    _book(db, slip, item, use, by=by, now=now, today=today)
    total, recent = _count(db, item.id, use, today)
    lines = _move(db, rows, total, recent, today)
    breakouts = _note_breakouts(db, slip, item, by=by, now=now)
    held = slip.condition == Condition.DAMAGED
    if held:
        why = slip.note or "Came back damaged."
        open_hold(db, item_id=item.id, cause=HoldCause.DAMAGED, reason=why, by=by, now=now)

    due = tuple(line.task for line in lines if line.use_left is not None and line.use_left <= 0)
    body = {
        "cycles": use.cycles,
        "minutes": use.minutes,
        "condition": slip.condition,
        "note": slip.note,
        "due_by_use": due,
        "usage": slip.client_id,
    }
    if slip.joint:
        body["joint"] = slip.joint
    if breakouts:
        body["breakouts"] = [one.body for one in breakouts]
    daybook.enter(db, item.site_id, by=by, now=now, act="returned", about=item.tag, body=body)
    meters = total.cycles, total.minutes
    return Receipt(item.tag, use.cycles, use.minutes, *meters, due, held, breakouts=breakouts)


def _find(db: Connection, slip: ReturnSlip) -> Sequence[AnyRow]:
    """The item as scanned; what is no tag on record, even if it looks like one, may be a serial number."""
    asked = {"client": slip.client_id}
    try:
        rows = _FIND.rows(db, asked | {"asked": read_tag(slip.item)})
    except Unreadable:
        rows = []
    return rows or _FIND.rows(db, asked | {"asked": find_item(db, slip.item).tag})


def _repeated(db: Connection, slip: ReturnSlip, found: AnyRow) -> Receipt:
    """The answer given before to this very slip; otherwise the item is simply not out."""
    item = find_item(db, found.tag)
    if not found.known:
        raise NotPossible(
            f"{show_tag(item.tag)} is not out, so it cannot be returned. It belongs on {_place(item)}."
        )
    before = db.execute(_BEFORE, {"client": slip.client_id}).first()
    if before is None or before.tag != item.tag:
        raise used_otherwise(slip.client_id)
    held = before.condition == Condition.DAMAGED
    return Receipt(before.tag, before.cycles, before.minutes, item.cycles, item.minutes, (), held, again=True)


def _place(item: ItemLine) -> str:
    return f"shelf {item.shelf} at {item.site}" if item.shelf else f"a shelf at {item.site}"


def _use(db: Connection, slip: ReturnSlip, item: AnyRow) -> Meter:
    """The use that the slip reports, or what was planned for it or for the wrench that it served."""
    if slip.cycles is None and slip.minutes is None:
        if item.planned_cycles is not None or item.planned_minutes is not None:
            return Meter(item.planned_cycles or 0, item.planned_minutes or 0)
        found = served(db, item.line)
        if found is None:
            raise NotPossible(
                f"No use was planned for {show_tag(item.tag)}, so it cannot be the same as planned. "
                f"Give --cycles and --minutes."
            )
        return found
    use = Meter(slip.cycles or 0, slip.minutes or 0)
    check_use(use.cycles, use.minutes)
    return use


def _close(db: Connection, slip: ReturnSlip, item: AnyRow, *, by: Actor, now: datetime) -> None:
    closing = {
        "line": item.line,
        "now": now,
        "by": by.id,
        "how": slip.condition,
        "remark": slip.note,
    }
    if _CLOSE.run(db, closing) != 1:
        raise NotPossible(f"{show_tag(item.tag)} was returned at another desk just now.")


def _book(
    db: Connection, slip: ReturnSlip, item: AnyRow, use: Meter, *, by: Actor, now: datetime, today: date
) -> None:
    entry = {
        "client_id": slip.client_id,
        "item_id": item.id,
        "loan_line_id": item.line,
        "job_id": item.job_id,
        "joint_id": find_joint(db, _job(db, item), slip.joint).id if slip.joint else None,
        "cycles": use.cycles,
        "minutes": use.minutes,
        "used_on": today,
        "reverses_id": None,
        "reason": None,
        "by_id": by.id,
        "recorded_at": now,
    }
    _ADD_USE.run(db, entry)


def _note_breakouts(
    db: Connection, slip: ReturnSlip, item: AnyRow, *, by: Actor, now: datetime
) -> tuple[Breakout, ...]:
    """Keep the breakouts that were measured on the job it comes back from."""
    if not slip.breakouts:
        return ()
    job = _job(db, item)
    told = (
        Told(f"{slip.client_id}/breakout-{at}", joint, reading, item.tag)
        for at, (joint, reading) in enumerate(slip.breakouts)
    )
    return tuple(write_breakout(db, job, one, by=by, now=now) for one in told)


def _job(db: Connection, item: AnyRow) -> JobLine:
    return find_job(db, db.execute(_JOB, {"job": item.job_id}).scalar_one())


def _count(db: Connection, item_id: int, use: Meter, today: date) -> tuple[Meter, Meter]:
    """Add the use to the meter; answers the new meter and the use of late, this one included."""
    more = {"more_cycles": use.cycles, "more_minutes": use.minutes}
    window = {"item": item_id, "since": today - timedelta(days=PACE_DAYS)}
    cycles, minutes, late_cycles, late_minutes = _COUNT.rows(db, more | window)[0]
    return Meter(cycles, minutes), Meter(int(late_cycles), int(late_minutes))


def _move(
    db: Connection, rows: Sequence[AnyRow], total: Meter, recent: Meter, today: date
) -> list[MeterLine]:
    """Bring the due lines that count use up to the new meter."""
    lines = [
        MeterLine(
            row.task_id,
            row.task,
            Clocks(row.every_months, row.every_cycles, row.every_minutes),
            row.due_on,
            row.due_cycles,
            row.due_minutes,
            row.use_left,
            row.forecast_on,
        )
        for row in rows
        if row.task_id is not None
    ]
    return move_meters(db, rows[0].id, lines, meter=total, recent=recent, today=today)
