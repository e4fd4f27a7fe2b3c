"""Who had one item, for which job, and how it came back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select

from fleet.lists.rows import lines
from fleet.records import JobRow, LoanLineRow, LoanRow, PersonRow

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine


@dataclass(frozen=True, slots=True)
class LoanOf:
    """One loan of an item; ``returned_at`` is empty while it is out."""

    issued_at: datetime
    holder: str
    job: str
    back_on: date
    returned_at: datetime | None
    condition: str | None
    note: str | None


_LOANS = (
    select(
        LoanRow.issued_at,
        PersonRow.name,
        JobRow.code,
        LoanRow.back_on,
        LoanLineRow.returned_at,
        LoanLineRow.condition,
        LoanLineRow.note,
    )
    .select_from(LoanLineRow)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(PersonRow, PersonRow.id == LoanRow.borrower_id)
    .join(JobRow, JobRow.id == LoanRow.job_id)
    .where(LoanLineRow.item_id == bindparam("item"))
    .order_by(LoanLineRow.id.desc())
    .limit(bindparam("most"))
)


def loans_of(db: Connection, item: ItemLine, *, most: int) -> list[LoanOf]:
    """The newest loans of an item, the newest first."""
    return lines(LoanOf, db.execute(_LOANS, {"item": item.id, "most": most}))
