"""Due lines, kept up to date on every write, so that a due list never has to work anything out."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from sqlalchemy import BindParameter, bindparam, delete, exists, func, insert, select, update
from sqlalchemy.orm import aliased

from fleet.records import (
    DueLineRow,
    ItemRow,
    LimitRow,
    ModelRow,
    RepairRow,
    TaskAfterRepairRow,
    TaskRow,
    UpkeepRow,
    UsageRow,
)
from fleet.records.base import rows_of
from fleet.records.prepared import Prepared
from fleet.rules.due import (
    PACE_DAYS,
    Clocks,
    LastDone,
    Meter,
    Noted,
    due_of,
    first_of,
    limited,
    meter_stand,
    undone_by,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow

# How many items are worked out at a time: one statement's worth of parameters.
CHUNK = 500

_LINES = rows_of(DueLineRow)
_IDS: BindParameter[int] = bindparam("ids", expanding=True)

_TASKS = select(
    TaskRow.id,
    TaskRow.name,
    TaskRow.kind,
    TaskRow.model_id,
    TaskRow.every_months,
    TaskRow.every_cycles,
    TaskRow.every_minutes,
    TaskRow.counts_from,
)
_ITEMS = (
    select(
        ItemRow.id,
        ItemRow.site_id,
        ItemRow.model_id,
        ModelRow.kind,
        ItemRow.received_on,
        ItemRow.assembled_on,
        ItemRow.cycles,
        ItemRow.minutes,
    )
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(ItemRow.id.in_(_IDS), ItemRow.retired_on.is_(None))
)
_WITHDRAWAL = aliased(UpkeepRow)
# By name, not by task: a model's own task takes over the history of the kind's task it replaces.
_DONE = (
    select(
        UpkeepRow.item_id,
        TaskRow.name,
        UpkeepRow.done_on,
        UpkeepRow.cycles_at,
        UpkeepRow.minutes_at,
        UpkeepRow.recorded_at,
    )
    .join(TaskRow, TaskRow.id == UpkeepRow.task_id)
    .where(
        UpkeepRow.item_id.in_(_IDS),
        # A withdrawn entry counts for nothing, and neither does the one that withdraws it.
        UpkeepRow.withdraws_id.is_(None),
        ~exists().where(_WITHDRAWAL.withdraws_id == UpkeepRow.id),
    )
    .order_by(UpkeepRow.done_on, UpkeepRow.id)
)
_REPAIRS = (
    select(RepairRow.item_id, TaskRow.name, RepairRow.done_on, RepairRow.recorded_at)
    .join(TaskAfterRepairRow, TaskAfterRepairRow.work == RepairRow.work)
    .join(TaskRow, TaskRow.id == TaskAfterRepairRow.task_id)
    .where(RepairRow.item_id.in_(_IDS))
    .order_by(RepairRow.done_on, RepairRow.recorded_at)
)
# By task, since a return asks for it in the same way; whoever gives a model its own task limits that.
_LIMITS = select(
    LimitRow.item_id, LimitRow.task_id, LimitRow.every_months, LimitRow.every_cycles, LimitRow.every_minutes
).where(LimitRow.item_id.in_(_IDS), LimitRow.ended_at.is_(None))
_RECENT = (
    select(UsageRow.item_id, func.sum(UsageRow.cycles), func.sum(UsageRow.minutes))
    .where(
        UsageRow.item_id.in_(_IDS),
        UsageRow.used_on > bindparam("since", type_=UsageRow.used_on.type),
        UsageRow.used_on <= bindparam("until", type_=UsageRow.used_on.type),
    )
    .group_by(UsageRow.item_id)
)
# What stands of the use of items that had an entry taken back: the meter was less than what was written then.
_TAKEN_BACK = select(UsageRow.item_id).where(UsageRow.item_id.in_(_IDS), UsageRow.reverses_id.is_not(None))
_REVERSAL = aliased(UsageRow)
_USE = (UsageRow.item_id, UsageRow.used_on, UsageRow.recorded_at, UsageRow.cycles, UsageRow.minutes)
_CORRECTED = select(*_USE, exists().where(_REVERSAL.reverses_id == UsageRow.id).label("taken_back")).where(
    UsageRow.item_id.in_(_TAKEN_BACK), UsageRow.reverses_id.is_(None)
)
_RAN_OUT = select(
    DueLineRow.item_id,
    DueLineRow.task_id,
    DueLineRow.due_cycles,
    DueLineRow.due_minutes,
    DueLineRow.forecast_on,
).where(DueLineRow.item_id.in_(_IDS), DueLineRow.use_left <= 0)
_FORGET = delete(_LINES).where(_LINES.c.item_id.in_(_IDS))
_ADD = Prepared(insert(_LINES))
_MOVE_METER = Prepared(
    update(_LINES)
    .where(_LINES.c.item_id == bindparam("of_item"), _LINES.c.task_id == bindparam("of_task"))
    .values(
        use_left=bindparam("use_left"),
        forecast_on=bindparam("forecast_on"),
        first_on=bindparam("first_on"),
        recent_cycles=bindparam("recent_cycles"),
        recent_minutes=bindparam("recent_minutes"),
    )
)


@dataclass(frozen=True, slots=True)
class _Past:
    """What is on record about some items, besides the items themselves: all of it read at once."""

    done: Mapping[tuple[int, str], AnyRow]
    repairs: Mapping[tuple[int, str], AnyRow]
    limits: Mapping[tuple[int, int], AnyRow]
    recent: Mapping[int, Meter]
    corrected: Mapping[int, Sequence[AnyRow]]


@dataclass(frozen=True, slots=True)
class MeterLine:
    """One due line with a meter clock, as the counter reads it."""

    task_id: int
    task: str
    clocks: Clocks
    due_on: date | None
    due_cycles: int | None
    due_minutes: int | None
    use_left: float | None
    forecast_on: date | None


def refresh(db: Connection, items: Iterable[int], today: Callable[[int], date]) -> None:
    """Work the due lines of these items out afresh. ``today`` answers the day at a site, by its id."""
    tasks = list(db.execute(_TASKS))
    of_model: dict[int, list[AnyRow]] = {}
    for ids in _chunks(list(items)):
        chosen = {"ids": ids}
        rows = list(db.execute(_ITEMS, chosen))
        past = _past(db, ids, max((today(row.site_id) for row in rows), default=date.min))
        ran_out = {tuple(key): on for *key, on in db.execute(_RAN_OUT, chosen)}
        for row in {row.model_id: row for row in rows}.values():
            of_model.setdefault(row.model_id, _tasks_of(row, tasks))
        lines = [
            _line(row, task, past, today(row.site_id)) for row in rows for task in of_model[row.model_id]
        ]
        for line in lines:
            _keep_day(line, ran_out)
        db.execute(_FORGET, chosen)
        _ADD.run_each(db, lines)


def move_meters(
    db: Connection, item_id: int, lines: Sequence[MeterLine], *, meter: Meter, recent: Meter, today: date
) -> list[MeterLine]:
    """Bring an item's due lines up to its new meter reading; answer the lines as they now stand."""
    moved, changes = [], []
    for line in lines:
        left, forecast = meter_stand(
            line.clocks, line.due_cycles, line.due_minutes, meter=meter, recent=recent, today=today
        )
        if left is not None and left <= 0 and line.use_left is not None and line.use_left <= 0:
            # It ran out earlier: that day stays.
            forecast = line.forecast_on or forecast
        moved.append(replace(line, use_left=left, forecast_on=forecast))
        changes.append(
            {
                "of_item": item_id,
                "of_task": line.task_id,
                "use_left": left,
                "forecast_on": forecast,
                "first_on": first_of(line.due_on, forecast),
                "recent_cycles": recent.cycles,
                "recent_minutes": recent.minutes,
            }
        )
    for change in changes:
        _MOVE_METER.run(db, change)
    return moved


def _keep_day(line: dict[str, Any], ran_out: Mapping[tuple[Any, ...], date | None]) -> None:
    """A meter that ran out earlier keeps the day on which it did."""
    before = ran_out.get((line["item_id"], line["task_id"], line["due_cycles"], line["due_minutes"]))
    if before and line["use_left"] <= 0:
        line["forecast_on"] = before
        line["first_on"] = first_of(line["due_on"], before)


def _chunks(ids: list[int]) -> Iterator[list[int]]:
    for start in range(0, len(ids), CHUNK):
        yield ids[start : start + CHUNK]


def _tasks_of(item: AnyRow, tasks: Sequence[AnyRow]) -> list[AnyRow]:
    """The tasks of an item: its model's own go before its kind's of the same name."""
    chosen = {task.name: task for task in tasks if task.kind == item.kind and task.model_id is None}
    chosen |= {task.name: task for task in tasks if task.model_id == item.model_id}
    return list(chosen.values())


def _past(db: Connection, ids: list[int], today: date) -> _Past:
    chosen = {"ids": ids}
    # They come in order of time, so that the last of each stays.
    done = {(row.item_id, row.name): row for row in db.execute(_DONE, chosen)}
    repairs = {(row.item_id, row.name): row for row in db.execute(_REPAIRS, chosen)}
    limits = {(row.item_id, row.task_id): row for row in db.execute(_LIMITS, chosen)}
    return _Past(done, repairs, limits, _recent(db, ids, today), _corrected(db, ids))


def _corrected(db: Connection, ids: list[int]) -> dict[int, list[AnyRow]]:
    """What stands of the use of those of these items that had an entry taken back; maybe nothing."""
    found: defaultdict[int, list[AnyRow]] = defaultdict(list)
    for row in db.execute(_CORRECTED, {"ids": ids}):
        found[row.item_id] += [] if row.taken_back else [row]
    return found


def _recent(db: Connection, ids: list[int], today: date) -> defaultdict[int, Meter]:
    recent: defaultdict[int, Meter] = defaultdict(lambda: Meter(0, 0))
    if today > date.min:
        window = {"ids": ids, "since": today - timedelta(days=PACE_DAYS), "until": today}
        for item_id, cycles, minutes in db.execute(_RECENT, window):
            recent[item_id] = Meter(int(cycles), int(minutes))
    return recent


def _line(item: AnyRow, task: AnyRow, past: _Past, today: date) -> dict[str, Any]:
    clocks = Clocks(task.every_months, task.every_cycles, task.every_minutes, task.counts_from)
    own = past.limits.get((item.id, task.id))
    if own:
        clocks = limited(clocks, own.every_months, own.every_cycles, own.every_minutes)
    done, recent = past.done.get((item.id, task.name)), past.recent[item.id]
    due = due_of(
        clocks,
        last=_last(item, done, past) if done else None,
        received_on=item.received_on,
        assembled_on=item.assembled_on,
        meter=Meter(item.cycles, item.minutes),
        recent=recent,
        today=today,
        undone_on=_undone_on(done, past.repairs.get((item.id, task.name)), clocks),
    )
    return {
        "item_id": item.id,
        "task_id": task.id,
        "site_id": item.site_id,
        "last_done_on": due.last_done_on,
        "due_on": due.due_on,
        "due_cycles": due.due_cycles,
        "due_minutes": due.due_minutes,
        "use_left": due.use_left,
        "forecast_on": due.forecast_on,
        "first_on": first_of(due.due_on, due.forecast_on),
        "recent_cycles": recent.cycles,
        "recent_minutes": recent.minutes,
        "recent_days": PACE_DAYS,
    }


def _last(item: AnyRow, done: AnyRow, past: _Past) -> LastDone:
    """The last time and the meter then; without what was taken back since, which no next round may gain.

    Of use entered since, even for that day, nothing counts as before: what the counter adds to a meter must
    never move its limit.
    """
    then = Meter(done.cycles_at, done.minutes_at)
    if item.id in past.corrected:
        uses = [use for use in past.corrected[item.id] if use.used_on <= done.done_on]
        uses = [use for use in uses if use.recorded_at < done.recorded_at]
        cycles, minutes = sum(use.cycles for use in uses), sum(use.minutes for use in uses)
        then = Meter(min(then.cycles, cycles), min(then.minutes, minutes))
    return LastDone(done.done_on, then)


def _undone_on(done: AnyRow | None, repair: AnyRow | None, clocks: Clocks) -> date | None:
    """The day of the repair after which the task was not done again yet."""
    if repair is None:
        return None
    last = Noted(done.done_on, done.recorded_at) if done else None
    undone = undone_by(Noted(repair.done_on, repair.recorded_at), last, clocks.counts_from)
    return repair.done_on if undone else None
