"""What every item of a site is kept for, week by week, and which joints still lack a wrench."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import Text, bindparam, func, or_, select

from fleet.bolting.parts import Kind
from fleet.measures.times import local_day, show_day, start_of_day, zone
from fleet.records import (
    AwayRow,
    DueLineRow,
    HoldRow,
    ItemRow,
    JobRow,
    JointRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    ReservationRow,
    TaskRow,
)
from fleet.rules.due import never_done
from fleet.rules.weeks import ItemWeeks, Period, Shortage, Sort, Stretch, Weeks

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date, datetime
    from zoneinfo import ZoneInfo

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow
    from fleet.lists.sites import SiteLine

_INSTANT = ReservationRow.starts_at.type
_STARTS, _ENDS = bindparam("starts_at", type_=_INSTANT), bindparam("ends_at", type_=_INSTANT)
_OF_SITE = (
    ItemRow.site_id == bindparam("site"),
    or_(bindparam("kind", type_=Text()).is_(None), ModelRow.kind == bindparam("kind", type_=Text())),
)
_ITEMS = (
    select(ItemRow.id, ItemRow.tag, ModelRow.kind, ModelRow.designation, ItemRow.serial)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(*_OF_SITE, ItemRow.retired_on.is_(None))
    .order_by(ModelRow.kind, ModelRow.designation, ItemRow.tag)
)
_KEPT = (
    select(
        ReservationRow.item_id,
        ReservationRow.starts_at,
        ReservationRow.ends_at,
        JobRow.code,
        JobRow.name,
        JointRow.mark,
        ReservationRow.any_of,
    )
    .join(ItemRow, ItemRow.id == ReservationRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(JobRow, JobRow.id == ReservationRow.job_id)
    .outerjoin(JointRow, JointRow.id == ReservationRow.joint_id)
    .where(
        *_OF_SITE,
        ReservationRow.ended_at.is_(None),
        ReservationRow.starts_at < _ENDS,
        ReservationRow.ends_at > _STARTS,
    )
)
_OUT = (
    select(LoanLineRow.item_id, LoanRow.issued_at, LoanRow.back_on, LoanLineRow.returned_at, JobRow.code)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(ItemRow, ItemRow.id == LoanLineRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(JobRow, JobRow.id == LoanRow.job_id)
    .where(
        *_OF_SITE,
        LoanRow.issued_at < _ENDS,
        or_(LoanLineRow.returned_at.is_(None), LoanLineRow.returned_at > _STARTS),
    )
)
_HELD = (
    select(HoldRow.item_id, HoldRow.opened_at, HoldRow.released_at, HoldRow.cause, HoldRow.reason)
    .join(ItemRow, ItemRow.id == HoldRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(
        *_OF_SITE,
        HoldRow.opened_at < _ENDS,
        or_(HoldRow.released_at.is_(None), HoldRow.released_at > _STARTS),
    )
)
_AWAY = (
    select(AwayRow.item_id, AwayRow.sent_at, AwayRow.wanted_on, AwayRow.back_at, AwayRow.errand)
    .join(ItemRow, ItemRow.id == AwayRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(*_OF_SITE, AwayRow.sent_at < _ENDS, or_(AwayRow.back_at.is_(None), AwayRow.back_at > _STARTS))
)
_DUE = (
    select(
        DueLineRow.item_id,
        DueLineRow.first_on,
        DueLineRow.due_on,
        DueLineRow.last_done_on,
        TaskRow.name,
        TaskRow.counts_from,
    )
    .join(ItemRow, ItemRow.id == DueLineRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(TaskRow, TaskRow.id == DueLineRow.task_id)
    .where(
        *_OF_SITE,
        # Of the site too, since that is what the index of due lines begins with.
        DueLineRow.site_id == bindparam("site"),
        DueLineRow.first_on <= bindparam("last_day", type_=DueLineRow.first_on.type),
    )
)
# Wrenches that serve a joint: kept for it, or kept for or handed out to its job as a whole.
_KEPT_HERE = (
    select(func.count(ReservationRow.item_id.distinct()))
    .join(ItemRow, ItemRow.id == ReservationRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(
        ReservationRow.job_id == JobRow.id,
        ReservationRow.ended_at.is_(None),
        or_(ReservationRow.joint_id.is_(None), ReservationRow.joint_id == JointRow.id),
        ModelRow.kind == Kind.WRENCH,
    )
    .correlate(JobRow, JointRow)
    .scalar_subquery()
)
_HANDED_OUT = (
    select(func.count(LoanLineRow.item_id.distinct()))
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(ItemRow, ItemRow.id == LoanLineRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(
        LoanRow.job_id == JobRow.id,
        ModelRow.kind == Kind.WRENCH,
        # What is kept for the job has been counted, for the joint that it is kept for.
        ~select(ReservationRow.id)
        .where(
            ReservationRow.job_id == JobRow.id,
            ReservationRow.item_id == LoanLineRow.item_id,
            ReservationRow.ended_at.is_(None),
        )
        .correlate(JobRow, LoanLineRow)
        .exists(),
    )
    .correlate(JobRow)
    .scalar_subquery()
)
WRENCHES_KEPT = _KEPT_HERE + _HANDED_OUT
"""How many wrenches serve a joint, where a statement selects from jobs and joints."""
WRENCHES_WANTED = func.coalesce(JointRow.wrenches_at_once, 1)
_JOINTS = (
    select(
        JobRow.code,
        JointRow.mark,
        JointRow.torque_written,
        JobRow.starts_at,
        JobRow.ends_at,
        WRENCHES_WANTED,
        WRENCHES_KEPT.label("kept"),
    )
    .join(JobRow, JobRow.id == JointRow.job_id)
    .where(
        JobRow.site_id == bindparam("site"),
        JobRow.starts_at < _ENDS,
        JobRow.ends_at > _STARTS,
        JobRow.ends_at > bindparam("now", type_=_INSTANT),
    )
    .order_by(JobRow.starts_at, JobRow.code, JointRow.mark)
)


def weeks(db: Connection, site: SiteLine, period: Period, *, kind: str | None = None, now: datetime) -> Weeks:
    """Every item of the site, or of one kind, with what stands in these weeks; and the joints that are short.

    A due day before the weeks stands in them too: it is still to be seen to.
    """
    there = zone(site.time_zone)
    asked = {
        "site": site.id,
        "kind": kind,
        "now": now,
        "starts_at": start_of_day(period.first_day, there),
        "ends_at": start_of_day(period.last_day + timedelta(days=1), there),
        "last_day": period.last_day,
    }
    today = site.today(now)
    found: defaultdict[int, list[Stretch]] = defaultdict(list)
    for statement, stretch in ((_KEPT, _kept), (_OUT, _out), (_HELD, _held), (_AWAY, _away), (_DUE, _due)):
        for row in db.execute(statement, asked):
            one = stretch(row, there, today)
            if one.sort is Sort.DUE:
                one = replace(one, last_on=max(one.first_on, period.first_day))
            found[row.item_id].append(one)
    items = tuple(
        ItemWeeks(row.tag, row.kind, row.designation, row.serial, tuple(sorted(found[row.id], key=_order)))
        for row in db.execute(_ITEMS, asked)
    )
    short = () if kind not in (None, Kind.WRENCH) else tuple(_short(db.execute(_JOINTS, asked), there))
    return Weeks(site.code, site.name, today, period, items, short)


def _order(stretch: Stretch) -> tuple[date, str, str]:
    return stretch.first_on, stretch.sort, stretch.mark


def _last(ends_at: datetime, there: ZoneInfo) -> date:
    """The day in which a half-open window ends."""
    return local_day(ends_at - timedelta(microseconds=1), there)


def _kept(row: AnyRow, there: ZoneInfo, _today: date) -> Stretch:
    joint = f", joint {row.mark}" if row.mark else ""
    of_class = f", as any {row.any_of}" if row.any_of else ""
    told = f"reserved for {row.code}, {row.name}{joint}{of_class}"
    first, last = local_day(row.starts_at, there), _last(row.ends_at, there)
    return Stretch(Sort.RESERVED, first, last, row.code, told)


def _out(row: AnyRow, there: ZoneInfo, today: date) -> Stretch:
    first = local_day(row.issued_at, there)
    if row.returned_at is not None:
        back = local_day(row.returned_at, there)
        return Stretch(Sort.OUT, first, back, row.code, f"was out for {row.code}")
    if row.back_on < today:
        told = f"out for {row.code} and late: it was to be back {show_day(row.back_on)}"
        return Stretch(Sort.OUT, first, today, row.code, told)
    return Stretch(Sort.OUT, first, row.back_on, row.code, f"out for {row.code}")


def _held(row: AnyRow, there: ZoneInfo, _today: date) -> Stretch:
    last = local_day(row.released_at, there) if row.released_at else None
    told = f"on hold ({row.cause}: {row.reason})"
    return Stretch(Sort.HOLD, local_day(row.opened_at, there), last, row.cause, told)


def _away(row: AnyRow, there: ZoneInfo, today: date) -> Stretch:
    first = local_day(row.sent_at, there)
    if row.back_at is not None:
        return Stretch(
            Sort.AWAY, first, local_day(row.back_at, there), row.errand, f"was away for {row.errand}"
        )
    if row.wanted_on is not None and row.wanted_on < today:
        told = f"away for {row.errand} and late: it was wanted back {show_day(row.wanted_on)}"
        return Stretch(Sort.AWAY, first, None, row.errand, told)
    return Stretch(Sort.AWAY, first, row.wanted_on, row.errand, f"away for {row.errand}")


def _due(row: AnyRow, _there: ZoneInfo, today: date) -> Stretch:
    on = show_day(row.first_on)
    if row.due_on and never_done(row.last_done_on, row.counts_from):
        told = f"{row.name} was never done"
    elif row.first_on < today:
        told = f"{row.name} overdue since {on}"
    elif row.first_on == row.due_on:
        told = f"{row.name} due {on}"
    else:
        told = f"{row.name} likely to be due by use about {on}"
    return Stretch(Sort.DUE, row.first_on, row.first_on, row.name, told)


def _short(rows: Iterator[AnyRow], there: ZoneInfo) -> Iterator[Shortage]:
    for code, mark, torque, starts_at, ends_at, wanted, kept in rows:
        if kept < wanted:
            first, last = local_day(starts_at, there), _last(ends_at, there)
            yield Shortage(code, mark, torque, first, last, wanted, kept)
