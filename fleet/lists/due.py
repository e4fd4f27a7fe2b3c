"""What is due: one range seek over the due lines, which costs its own rows and not the fleet."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from sqlalchemy import BindParameter, and_, bindparam, or_, select, type_coerce

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
from fleet.records.base import Flag
from fleet.records.prepared import Prepared
from fleet.rules.due import is_overdue, never_done
from fleet.rules.evidence import Proof
from fleet.rules.upkeep import CountsFrom

if TYPE_CHECKING:
    from datetime import date

    from sqlalchemy.engine import Connection


class DueLine(NamedTuple):
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
    first_on: date
    recent_cycles: int
    recent_minutes: int
    recent_days: int
    counts_from: str = CountsFrom.DONE
    proved_by: str = Proof.NOTE

    @property
    def by(self) -> str:
        """The clock that comes first: calendar, or use."""
        if self.use_left is not None and self.use_left <= 0:
            return "use"
        return "calendar" if self.first_on == self.due_on else "use"

    def overdue(self, today: date) -> bool:
        """Past its day, or its meter used up by then: what is used up has the day on which it ran out."""
        used_up = self.use_left is not None and self.use_left <= 0 and (self.forecast_on or today) <= today
        return used_up or is_overdue(self.due_on, None, today)

    @property
    def never_done(self) -> bool:
        """Nobody ever did it, so no day can be named by which it was due."""
        return self.due_on is not None and never_done(self.last_done_on, self.counts_from)


_TODAY: BindParameter[date] = bindparam("today", type_=DueLineRow.due_on.type)
_DUE = Prepared(
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
        type_coerce(
            select(HoldRow.id).where(HoldRow.item_id == ItemRow.id, HoldRow.released_at.is_(None)).exists(),
            Flag(),
        ).label("on_hold"),
        DueLineRow.last_done_on,
        DueLineRow.due_on,
        DueLineRow.due_cycles,
        DueLineRow.due_minutes,
        ItemRow.cycles,
        ItemRow.minutes,
        DueLineRow.use_left,
        DueLineRow.forecast_on,
        DueLineRow.first_on,
        DueLineRow.recent_cycles,
        DueLineRow.recent_minutes,
        DueLineRow.recent_days,
        TaskRow.counts_from,
        TaskRow.proved_by,
    )
    .select_from(DueLineRow)
    .join(ItemRow, ItemRow.id == DueLineRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(TaskRow, TaskRow.id == DueLineRow.task_id)
    .outerjoin(LoanLineRow, and_(LoanLineRow.item_id == ItemRow.id, LoanLineRow.returned_at.is_(None)))
    .outerjoin(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .outerjoin(PersonRow, PersonRow.id == LoanRow.borrower_id)
    .outerjoin(JobRow, JobRow.id == LoanRow.job_id)
    .where(
        DueLineRow.site_id == bindparam("site"),
        DueLineRow.first_on <= bindparam("until", type_=DueLineRow.first_on.type),
    )
    .order_by(
        or_(DueLineRow.due_on < _TODAY, and_(DueLineRow.use_left <= 0, DueLineRow.forecast_on <= _TODAY))
        .is_(True)
        .desc(),
        DueLineRow.first_on,
        ItemRow.tag,
        TaskRow.name,
    ),
    DueLine._make,
)


def due(db: Connection, site_id: int, *, until: date, today: date) -> list[DueLine]:
    """Everything overdue at the site on ``today``, then everything due up to and including ``until``."""
    asked = {"site": site_id, "until": max(until, today), "today": today}
    return _DUE.rows(db, asked)
