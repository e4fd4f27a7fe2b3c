"""What is out: who holds it, for which job, and how late it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select

from fleet.measures.times import local_day, zone
from fleet.records import ItemRow, JobRow, LoanLineRow, LoanRow, ModelRow, PersonRow

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine


@dataclass(frozen=True, slots=True)
class OutLine:
    """One item that is out. ``days_late`` is 0 through the day it is to be back."""

    tag: str
    kind: str
    model: str
    serial: str
    holder: str
    job: str
    issued_on: date
    back_on: date
    days_late: int


_OUT = (
    select(
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.serial,
        PersonRow.name.label("holder"),
        JobRow.code.label("job"),
        LoanRow.issued_at,
        LoanRow.back_on,
    )
    .join(LoanLineRow, LoanLineRow.item_id == ItemRow.id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(PersonRow, PersonRow.id == LoanRow.borrower_id)
    .join(JobRow, JobRow.id == LoanRow.job_id)
    .where(LoanLineRow.returned_at.is_(None), ItemRow.site_id == bindparam("site"))
    # The longest overdue comes first, and what is due back last comes last.
    .order_by(LoanRow.back_on, ItemRow.tag)
)


def out(db: Connection, site: SiteLine, *, now: datetime) -> list[OutLine]:
    """Everything of the site that is out, the latest first."""
    there, today = zone(site.time_zone), site.today(now)
    return [
        OutLine(
            row.tag,
            row.kind,
            row.designation,
            row.serial,
            row.holder,
            row.job,
            local_day(row.issued_at, there),
            row.back_on,
            max((today - row.back_on).days, 0),
        )
        for row in db.execute(_OUT, {"site": site.id})
    ]
