"""Own limits of single items, and the clocks that a task of an item goes by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import Text, and_, bindparam, or_, select

from fleet.lists.rows import lines
from fleet.measures.tags import show_tag
from fleet.records import DueLineRow, ItemRow, LimitRow, ModelRow, PersonRow, TaskRow
from fleet.refusals import NotFound, NotPossible
from fleet.rules.limits import Clocks

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine


@dataclass(frozen=True, slots=True)
class LimitLine:
    """One limit, with the document that allows it; ``end_reason`` is empty while it is in force."""

    id: int
    tag: str
    kind: str
    model: str
    task: str
    every_months: int | None
    every_cycles: int | None
    every_minutes: int | None
    reason: str
    document: str
    set_at: datetime
    set_by: str | None
    ended_at: datetime | None
    end_reason: str | None


@dataclass(frozen=True, slots=True)
class ClockedTask:
    """A task of an item with the clocks it goes by: the item's own limit before the task's own."""

    id: int
    name: str
    own: Clocks
    limit: Clocks

    @property
    def months(self) -> int | None:
        """The months in force."""
        return self.limit.months or self.own.months

    @property
    def cycles(self) -> int | None:
        """The cycles in force."""
        return self.limit.cycles or self.own.cycles


_LINES = (
    select(
        LimitRow.id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        TaskRow.name,
        LimitRow.every_months,
        LimitRow.every_cycles,
        LimitRow.every_minutes,
        LimitRow.reason,
        LimitRow.document,
        LimitRow.set_at,
        PersonRow.name,
        LimitRow.ended_at,
        LimitRow.end_reason,
    )
    .join(ItemRow, ItemRow.id == LimitRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(TaskRow, TaskRow.id == LimitRow.task_id)
    .outerjoin(PersonRow, PersonRow.id == LimitRow.set_by_id)
    .where(
        or_(bindparam("tag", type_=Text()).is_(None), ItemRow.tag == bindparam("tag")),
        or_(bindparam("ended"), LimitRow.ended_at.is_(None)),
    )
    .order_by(ItemRow.tag, TaskRow.name, LimitRow.set_at.desc(), LimitRow.id.desc())
)
_CLOCKED = (
    select(
        TaskRow.id,
        TaskRow.name,
        TaskRow.every_months,
        TaskRow.every_cycles,
        TaskRow.every_minutes,
        LimitRow.every_months.label("own_months"),
        LimitRow.every_cycles.label("own_cycles"),
        LimitRow.every_minutes.label("own_minutes"),
    )
    .join(DueLineRow, DueLineRow.task_id == TaskRow.id)
    .outerjoin(
        LimitRow,
        and_(
            LimitRow.task_id == TaskRow.id,
            LimitRow.item_id == DueLineRow.item_id,
            LimitRow.ended_at.is_(None),
        ),
    )
    .where(DueLineRow.item_id == bindparam("item"))
    .order_by(TaskRow.name)
)


def limits(db: Connection, *, tag: str | None = None, ended: bool = False) -> list[LimitLine]:
    """Every limit in force, and those that ended when asked for."""
    return lines(LimitLine, db.execute(_LINES, {"tag": tag, "ended": ended}))


def clocked_task(db: Connection, item: ItemLine, asked: str) -> ClockedTask:
    """One task of an item by its name, with its clocks."""
    if item.retired_on:
        raise NotPossible(f"{show_tag(item.tag)} is retired; nothing falls due on it.")
    wanted = " ".join(asked.split()).casefold()
    rows = db.execute(_CLOCKED, {"item": item.id}).all()
    for row in rows:
        if row.name.casefold() == wanted:
            return ClockedTask(row.id, row.name, Clocks(*row[2:5]), Clocks(*row[5:8]))
    names = ", ".join(row.name for row in rows) or "none"
    raise NotFound(f"{show_tag(item.tag)} ({item.kind}) has no upkeep task {asked!r}. Its tasks: {names}.")
