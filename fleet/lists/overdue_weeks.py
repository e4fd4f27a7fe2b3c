"""How much was overdue at the end of each week of a year, worked out from what was done and when."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import (
    and_,
    bindparam,
    cast,
    exists,
    func,
    literal,
    null,
    or_,
    select,
    union_all,
)
from sqlalchemy.orm import aliased

from fleet.lists.calendar_months import PlusMonths
from fleet.records import (
    DueLineRow,
    ItemRow,
    LimitRow,
    ModelRow,
    RepairRow,
    TaskAfterRepairRow,
    TaskRow,
    UpkeepRow,
)
from fleet.rules.upkeep import CountsFrom

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine

WEEKS = 52


@dataclass(frozen=True, slots=True)
class OverdueTrend:
    """Tasks overdue by the calendar at each week's end and today, as the record stands now.

    ``by_use``: those that are overdue today by their use alone, which are in no other figure.
    """

    days: tuple[date, ...]
    counts: tuple[int, ...]
    by_use: int


_OWN, _OF_DONE, _OF_REPAIR = aliased(TaskRow), aliased(TaskRow), aliased(TaskRow)
_WITHDRAWAL = aliased(UpkeepRow)
_DAY, _INSTANT = UpkeepRow.done_on.type, UpkeepRow.recorded_at.type
_TODAY = bindparam("today", type_=_DAY)
# Every item with its tasks: a model's own goes before its kind's of that name, an item's limit before both.
_PAIRS = (
    select(
        ItemRow.id.label("item_id"),
        TaskRow.name,
        ItemRow.received_on,
        ItemRow.retired_on,
        ItemRow.assembled_on,
        TaskRow.counts_from,
        func.coalesce(LimitRow.every_months, TaskRow.every_months).label("months"),
    )
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(
        TaskRow,
        or_(
            TaskRow.model_id == ItemRow.model_id,
            and_(
                TaskRow.model_id.is_(None),
                TaskRow.kind == ModelRow.kind,
                ~exists().where(_OWN.model_id == ItemRow.model_id, _OWN.name == TaskRow.name),
            ),
        ),
    )
    .outerjoin(
        LimitRow,
        and_(LimitRow.item_id == ItemRow.id, LimitRow.task_id == TaskRow.id, LimitRow.ended_at.is_(None)),
    )
    .where(
        ItemRow.site_id == bindparam("site"),
        ItemRow.received_on <= _TODAY,
        func.coalesce(LimitRow.every_months, TaskRow.every_months).is_not(None),
    )
    .cte("pairs")
)
_AGAIN = _PAIRS.c.counts_from != CountsFrom.ASSEMBLY
# What came: nothing yet, what was done, a repair that undid it. Each is good through a day, or not at all.
_CAME = union_all(
    select(
        _PAIRS.c.item_id,
        _PAIRS.c.name,
        literal(0).label("sort"),
        _PAIRS.c.received_on.label("day"),
        cast(null(), _INSTANT).label("recorded_at"),
        PlusMonths(_PAIRS.c.assembled_on, _PAIRS.c.months).label("good_through"),
    ).where(~_AGAIN),
    select(
        _PAIRS.c.item_id,
        _PAIRS.c.name,
        literal(0),
        _PAIRS.c.received_on,
        cast(null(), _INSTANT),
        cast(null(), _DAY),
    ).where(_AGAIN),
    select(
        _PAIRS.c.item_id,
        _PAIRS.c.name,
        literal(1),
        UpkeepRow.done_on,
        UpkeepRow.recorded_at,
        PlusMonths(UpkeepRow.done_on, _PAIRS.c.months),
    )
    .join(UpkeepRow, UpkeepRow.item_id == _PAIRS.c.item_id)
    .join(_OF_DONE, and_(_OF_DONE.id == UpkeepRow.task_id, _OF_DONE.name == _PAIRS.c.name))
    .where(
        _AGAIN, UpkeepRow.withdraws_id.is_(None), ~exists().where(_WITHDRAWAL.withdraws_id == UpkeepRow.id)
    ),
    select(
        _PAIRS.c.item_id,
        _PAIRS.c.name,
        literal(1),
        RepairRow.done_on,
        RepairRow.recorded_at,
        cast(null(), _DAY),
    )
    .join(RepairRow, RepairRow.item_id == _PAIRS.c.item_id)
    .join(TaskAfterRepairRow, TaskAfterRepairRow.work == RepairRow.work)
    .join(_OF_REPAIR, and_(_OF_REPAIR.id == TaskAfterRepairRow.task_id, _OF_REPAIR.name == _PAIRS.c.name))
    .where(_AGAIN),
).cte("came")
_NEXT = func.lead(_CAME.c.day, type_=_DAY).over(
    partition_by=(_CAME.c.item_id, _CAME.c.name),
    # Of two of one instant what is good for nothing came later: nobody can show that it did not.
    order_by=(_CAME.c.sort, _CAME.c.day, _CAME.c.recorded_at, _CAME.c.good_through.is_(None)),
)
_SPANS = select(
    _CAME.c.item_id, _CAME.c.name, _CAME.c.day, _CAME.c.good_through, _NEXT.label("next_day")
).cte("spans")
_OVERDUE = (
    select(
        _SPANS.c.day,
        _SPANS.c.good_through,
        _SPANS.c.next_day,
        _PAIRS.c.received_on,
        _PAIRS.c.retired_on,
    )
    .join(_PAIRS, and_(_PAIRS.c.item_id == _SPANS.c.item_id, _PAIRS.c.name == _SPANS.c.name))
    .where(
        or_(
            _SPANS.c.good_through.is_(None),
            _SPANS.c.good_through < func.coalesce(_SPANS.c.next_day, _TODAY),
        ),
        or_(_SPANS.c.next_day.is_(None), _SPANS.c.next_day > bindparam("first", type_=_DAY)),
        or_(_PAIRS.c.retired_on.is_(None), _PAIRS.c.retired_on > bindparam("first", type_=_DAY)),
    )
)
_BY_USE = (
    select(func.count())
    .select_from(DueLineRow)
    .where(
        DueLineRow.site_id == bindparam("site"),
        DueLineRow.first_on <= _TODAY,
        DueLineRow.use_left <= 0,
        DueLineRow.forecast_on <= _TODAY,
        or_(DueLineRow.due_on.is_(None), DueLineRow.due_on >= _TODAY),
    )
)


def overdue_weeks(db: Connection, site: SiteLine, *, now: datetime) -> OverdueTrend:
    """Tasks overdue by the calendar at the end of each of the last 52 weeks, and today.

    Of each item at the site now, in service on that day, by the intervals in force now, and with everything
    that is on record now: what was entered late counts from the day for which it was entered.
    """
    today = site.today(now)
    days = week_ends(today)
    asked = {"site": site.id, "today": today, "first": days[0]}
    steps = [0] * (len(days) + 1)
    for row in db.execute(_OVERDUE, asked):
        after = row.good_through
        from_on = max(after + timedelta(days=1) if after else row.day, row.day, row.received_on)
        ends = [day for day in (row.next_day, row.retired_on) if day]
        first, last = _reach(days, from_on, min(ends) if ends else None)
        if first < last:
            steps[first] += 1
            steps[last] -= 1
    counts, stands = [], 0
    for step in steps[:-1]:
        stands += step
        counts.append(stands)
    return OverdueTrend(days, tuple(counts), int(db.execute(_BY_USE, asked).scalar_one()))


def week_ends(today: date) -> tuple[date, ...]:
    """The Sundays before today, of as many weeks, and today."""
    last = today - timedelta(days=today.isoweekday())
    return (*(last - timedelta(weeks=at) for at in reversed(range(WEEKS))), today)


def _reach(days: Sequence[date], from_on: date, before: date | None) -> tuple[int, int]:
    """Which of the days lie in [from_on, before)."""
    return bisect_left(days, from_on), len(days) if before is None else bisect_right(
        days, before - timedelta(1)
    )
