"""Loans line by line: what went out on one, how each item came back, and what is planned for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import BindParameter, Select, bindparam, exists, func, select
from sqlalchemy.orm import aliased

from fleet.lists.rows import lines
from fleet.records import (
    AwayRow,
    ItemRow,
    JobRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    PersonRow,
    SiteRow,
    UsageRow,
)
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date, datetime

    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class LoanLine:
    """One item of a loan. ``later``: it went out again since; ``away``: it was sent away."""

    line: int
    loan: int
    item_id: int
    tag: str
    kind: str
    model: str
    serial: str
    shelf: str | None
    site: str
    time_zone: str
    job_id: int
    job: str
    holder: str
    issued_at: datetime
    issued_by_id: int
    issued_by: str
    back_on: date
    planned_cycles: int | None
    planned_minutes: int | None
    returned_at: datetime | None
    returned_by_id: int | None
    returned_by: str | None
    condition: str | None
    note: str | None
    retired_on: date | None
    away: bool
    later: bool


_IDS: BindParameter[int] = bindparam("ids", expanding=True)
_ISSUER, _TAKER, _NEWER = aliased(PersonRow), aliased(PersonRow), aliased(LoanLineRow)
_LINES = (
    select(
        LoanLineRow.id,
        LoanRow.id,
        ItemRow.id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.serial,
        ItemRow.shelf,
        SiteRow.code,
        SiteRow.time_zone,
        JobRow.id,
        JobRow.code,
        PersonRow.name,
        LoanRow.issued_at,
        LoanRow.issued_by_id,
        _ISSUER.name,
        LoanRow.back_on,
        LoanLineRow.planned_cycles,
        LoanLineRow.planned_minutes,
        LoanLineRow.returned_at,
        LoanLineRow.returned_by_id,
        _TAKER.name,
        LoanLineRow.condition,
        LoanLineRow.note,
        ItemRow.retired_on,
        exists().where(AwayRow.item_id == ItemRow.id, AwayRow.back_at.is_(None)),
        exists().where(_NEWER.item_id == LoanLineRow.item_id, _NEWER.id > LoanLineRow.id),
    )
    .select_from(LoanLineRow)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(ItemRow, ItemRow.id == LoanLineRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .join(JobRow, JobRow.id == LoanRow.job_id)
    .join(PersonRow, PersonRow.id == LoanRow.borrower_id)
    .join(_ISSUER, _ISSUER.id == LoanRow.issued_by_id)
    .outerjoin(_TAKER, _TAKER.id == LoanLineRow.returned_by_id)
    .order_by(LoanLineRow.id)
)
_OF_LOAN = _LINES.where(LoanRow.id == bindparam("loan"))
_ONE = _LINES.where(LoanLineRow.id == bindparam("line"))
_LAST = _LINES.where(
    LoanLineRow.item_id == bindparam("item"),
    ~exists().where(_NEWER.item_id == LoanLineRow.item_id, _NEWER.id > LoanLineRow.id),
)


def _locked(statement: Select[*tuple[object, ...]]) -> Select[*tuple[object, ...]]:
    """On PostgreSQL nobody hands the items out while it is decided; SQLite has its write lock."""
    return statement.with_for_update(of=ItemRow)


_OF_LOAN_LOCKED, _ONE_LOCKED = _locked(_OF_LOAN), _locked(_ONE)


def lines_of_loan(db: Connection, loan: int, *, lock: bool = False) -> Sequence[LoanLine]:
    """Everything that went out on a loan; ``lock`` when something will be written."""
    found = lines(LoanLine, db.execute(_OF_LOAN_LOCKED if lock else _OF_LOAN, {"loan": loan}))
    if not found:
        raise NotFound(f"There is no loan {loan}.")
    return found


def find_line(db: Connection, line: int, *, lock: bool = False) -> LoanLine:
    """One line of a loan by its number."""
    found = lines(LoanLine, db.execute(_ONE_LOCKED if lock else _ONE, {"line": line}))
    if not found:
        raise NotFound(f"There is no line {line} of any loan.")
    return found[0]


def last_line(db: Connection, item_id: int) -> LoanLine | None:
    """How an item went out last; empty when it never did."""
    found = lines(LoanLine, db.execute(_LAST, {"item": item_id}))
    return found[0] if found else None


_USED = (
    select(UsageRow.loan_line_id, func.sum(UsageRow.cycles), func.sum(UsageRow.minutes))
    .where(UsageRow.loan_line_id.in_(_IDS))
    .group_by(UsageRow.loan_line_id)
)


def used_on(db: Connection, numbers: Iterable[int]) -> dict[int, tuple[int, int]]:
    """The cycles and pump minutes that stand in the ledger for these lines."""
    rows = db.execute(_USED, {"ids": list(numbers)})
    return {int(line or 0): (int(cycles), int(minutes)) for line, cycles, minutes in rows}
