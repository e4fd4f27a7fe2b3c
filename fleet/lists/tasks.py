"""The upkeep tasks of single items."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select

from fleet.lists.rows import lines
from fleet.records import DueLineRow, TaskRow
from fleet.rules.inspections import TaskFacts

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

_TASKS = (
    select(TaskRow.id, TaskRow.name, TaskRow.proved_by, TaskRow.counts_from)
    .join(DueLineRow, DueLineRow.task_id == TaskRow.id)
    .where(DueLineRow.item_id == bindparam("item"))
    .order_by(TaskRow.name)
)


def tasks_of(db: Connection, item_id: int) -> list[TaskFacts]:
    """The tasks that an item has due lines for, by name; a retired item has none."""
    return lines(TaskFacts, db.execute(_TASKS, {"item": item_id}))
