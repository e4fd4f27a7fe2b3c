"""What is due: a union of range seeks over the due lines, which costs its own rows and not the fleet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import and_, bindparam, select, union

from fleet.lists.rows import lines
from fleet.records import (
    DueLineRow,
    HoldRow,
    ItemRow,
    JobRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    PersonRow,
    TaskRow,
)
from fleet.rules.due import is_overdue

if TYPE_CHECKING:
    from datetime import date

    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class DueLine:
    """One thing that must be done to one item. ``by`` names the clock that comes first.

    ``holder`` and ``job`` are empty while the item is in. A forecast says on what use it is based.
    """

    tag: str
    kind: str
    model: str
    serial: str
    task: str
    stop: str
    shelf: str | None
    holder: str | None
    job: str | None
    back_on: date | None
    on_hold: bool
    last_done_on: date | None
    due_on: date | None
    due_cycles: int | None
    due_minutes: int | None
    cycles: int
    minutes: int
    use_left: float | None
    forecast_on: date | None
    recent_cycles: int
    recent_minutes: int
    recent_days: int

    @property
    def first_on(self) -> date | None:
        """The day it is due by the clock that comes first."""
        days = [day for day in (self.due_on, self.forecast_on) if day]
        return min(days) if days else None

    @property
    def by(self) -> str:
        """The clock that comes first: calendar, or use."""
        if self.use_left is not None and self.use_left <= 0:
            return "use"
        first = self.first_on
        return "calendar" if first is not None and first == self.due_on else "use"

    def overdue(self, today: date) -> bool:
        """Past its day, or its meter used up."""
        return is_overdue(self.due_on, self.use_left, today)


_SITE = DueLineRow.site_id == bindparam("site")
_UNTIL = bindparam("until", type_=DueLineRow.due_on.type)
_KEYS = (DueLineRow.item_id, DueLineRow.task_id)
# Three seeks, one per index. Written as one OR, SQLite reads every line of the site.
_NEAR = union(
    select(*_KEYS).where(_SITE, DueLineRow.due_on <= _UNTIL),
    select(*_KEYS).where(_SITE, DueLineRow.use_left <= 0),
    select(*_KEYS).where(_SITE, DueLineRow.forecast_on <= _UNTIL),
).subquery("near")
_DUE = (
    select(
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.serial,
        TaskRow.name,
        TaskRow.stop,
        ItemRow.shelf,
        PersonRow.name.label("holder"),
        JobRow.code,
        LoanRow.back_on,
        select(HoldRow.id)
        .where(HoldRow.item_id == ItemRow.id, HoldRow.released_at.is_(None))
        .exists()
        .label("on_hold"),
        DueLineRow.last_done_on,
        DueLineRow.due_on,
        DueLineRow.due_cycles,
        DueLineRow.due_minutes,
        ItemRow.cycles,
        ItemRow.minutes,
        DueLineRow.use_left,
        DueLineRow.forecast_on,
        DueLineRow.recent_cycles,
        DueLineRow.recent_minutes,
        DueLineRow.recent_days,
    )
    .select_from(_NEAR)
    .join(
        DueLineRow,
        and_(DueLineRow.item_id == _NEAR.c.item_id, DueLineRow.task_id == _NEAR.c.task_id),
    )
    .join(ItemRow, ItemRow.id == DueLineRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(TaskRow, TaskRow.id == DueLineRow.task_id)
    .outerjoin(LoanLineRow, and_(LoanLineRow.item_id == ItemRow.id, LoanLineRow.returned_at.is_(None)))
    .outerjoin(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .outerjoin(PersonRow, PersonRow.id == LoanRow.borrower_id)
    .outerjoin(JobRow, JobRow.id == LoanRow.job_id)
)


def due(db: Connection, site_id: int, *, until: date, today: date) -> list[DueLine]:
    """Everything overdue at the site on ``today``, then everything due up to and including ``until``."""
    found = lines(DueLine, db.execute(_DUE, {"site": site_id, "until": max(until, today)}))
    return sorted(
        found, key=lambda line: (not line.overdue(today), line.first_on or today, line.tag, line.task)
    )
