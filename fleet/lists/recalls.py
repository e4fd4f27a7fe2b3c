"""Recalls, and the items that they are about."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import BindParameter, and_, bindparam, func, or_, select

from fleet.records import (
    HoldRow,
    ItemRow,
    JobRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    PersonRow,
    RecallRow,
    SiteRow,
)
from fleet.refusals import NotFound
from fleet.rules.recalls import Scope, comparable, matches

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow


@dataclass(frozen=True, slots=True)
class RecallLine:
    """One recall. ``held`` counts its holds that are open, ``cleared`` those released item by item."""

    id: int
    model: str
    scope: Scope
    notice: str
    reason: str
    opened_at: datetime
    opened_by: str | None
    ended_at: datetime | None
    end_reason: str | None
    held: int
    cleared: int


@dataclass(frozen=True, slots=True)
class RecalledLine:
    """One item of a recalled model. ``meant`` or only to be looked at, as its serial is of no such series.

    ``released_on`` is empty while its hold is open; both are empty where it has none.
    """

    id: int
    tag: str
    serial: str
    site: str
    site_id: int
    shelf: str | None
    assembled_on: date | None
    holder: str | None
    job: str | None
    meant: bool
    hold: int | None = None
    released_at: datetime | None = None


_IDS: BindParameter[int] = bindparam("ids", expanding=True)
_MATCHING = (
    select(
        ItemRow.id.label("item_id"),
        ItemRow.serial,
        ItemRow.assembled_on,
        RecallRow.id,
        RecallRow.serial_from,
        RecallRow.serial_to,
        RecallRow.assembled_from,
        RecallRow.assembled_to,
        RecallRow.notice,
        RecallRow.reason,
    )
    .join(RecallRow, RecallRow.model_id == ItemRow.model_id)
    .outerjoin(HoldRow, and_(HoldRow.item_id == ItemRow.id, HoldRow.recall_id == RecallRow.id))
    .where(
        ItemRow.id.in_(_IDS),
        ItemRow.retired_on.is_(None),
        RecallRow.ended_at.is_(None),
        # Held already, or cleared with evidence of its own.
        HoldRow.id.is_(None),
    )
    .order_by(ItemRow.id, RecallRow.id)
)
_HELD = (
    select(func.count())
    .select_from(HoldRow)
    .where(HoldRow.recall_id == RecallRow.id, HoldRow.released_at.is_(None))
    .scalar_subquery()
)
_CLEARED = (
    select(func.count())
    .select_from(HoldRow)
    .where(
        HoldRow.recall_id == RecallRow.id,
        HoldRow.released_at.is_not(None),
        or_(RecallRow.ended_at.is_(None), HoldRow.released_at < RecallRow.ended_at),
    )
    .scalar_subquery()
)
_RECALLS = (
    select(
        RecallRow.id,
        RecallRow.model_id,
        ModelRow.designation,
        RecallRow.serial_from,
        RecallRow.serial_to,
        RecallRow.assembled_from,
        RecallRow.assembled_to,
        RecallRow.notice,
        RecallRow.reason,
        RecallRow.opened_at,
        PersonRow.name,
        RecallRow.ended_at,
        RecallRow.end_reason,
        _HELD.label("held"),
        _CLEARED.label("cleared"),
    )
    .join(ModelRow, ModelRow.id == RecallRow.model_id)
    .outerjoin(PersonRow, PersonRow.id == RecallRow.opened_by_id)
    .order_by(RecallRow.id)
)
_ONE = _RECALLS.where(RecallRow.id == bindparam("recall"))
_OF_MODEL = (
    select(
        ItemRow.id,
        ItemRow.tag,
        ItemRow.serial,
        SiteRow.code,
        ItemRow.site_id,
        ItemRow.shelf,
        ItemRow.assembled_on,
        PersonRow.name,
        JobRow.code.label("job"),
        HoldRow.id.label("hold"),
        HoldRow.released_at,
    )
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .outerjoin(LoanLineRow, and_(LoanLineRow.item_id == ItemRow.id, LoanLineRow.returned_at.is_(None)))
    .outerjoin(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .outerjoin(PersonRow, PersonRow.id == LoanRow.borrower_id)
    .outerjoin(JobRow, JobRow.id == LoanRow.job_id)
    .outerjoin(HoldRow, and_(HoldRow.item_id == ItemRow.id, HoldRow.recall_id == bindparam("recall")))
    .where(ItemRow.model_id == bindparam("model"), ItemRow.retired_on.is_(None))
    .order_by(SiteRow.code, ItemRow.tag)
)


@dataclass(frozen=True, slots=True)
class OpenMatch:
    """An open recall that is about an item which no hold keeps in on its account."""

    recall: int
    notice: str
    reason: str


def matching(db: Connection, ids: Iterable[int]) -> dict[int, list[OpenMatch]]:
    """Open recalls that are about these items and for which they were neither held nor cleared, by item."""
    found: defaultdict[int, list[OpenMatch]] = defaultdict(list)
    for row in db.execute(_MATCHING, {"ids": list(ids)}):
        if matches(_scope(row), row.serial, row.assembled_on):
            found[row.item_id].append(OpenMatch(row.id, row.notice, row.reason))
    return dict(found)


def recalls(db: Connection, *, ended: bool = False) -> list[RecallLine]:
    """Every open recall, and with ``ended`` the others too, in the order in which they came."""
    found = [_line(row) for row in db.execute(_RECALLS)]
    return [line for line in found if ended or line.ended_at is None]


def find_recall(db: Connection, recall: int) -> tuple[RecallLine, list[RecalledLine]]:
    """One recall by its number, with the items that it is about."""
    row = db.execute(_ONE, {"recall": recall}).first()
    if row is None:
        raise NotFound(f"There is no recall {recall}. See them with: fleet recall list")
    line = _line(row)
    return line, recalled(db, row.model_id, line.scope, recall=recall)


def recalled(db: Connection, model_id: int, scope: Scope, *, recall: int = 0) -> list[RecalledLine]:
    """Items of the model that are meant, and those whose serial number is of no such series."""
    found = []
    for row in db.execute(_OF_MODEL, {"model": model_id, "recall": recall}):
        meant = matches(scope, row.serial, row.assembled_on)
        if meant or row.hold or not comparable(scope, row.serial):
            found.append(RecalledLine(*row[:9], meant, row.hold, row.released_at))
    return found


def _scope(row: AnyRow) -> Scope:
    return Scope(row.serial_from, row.serial_to, row.assembled_from, row.assembled_to)


def _line(row: AnyRow) -> RecallLine:
    return RecallLine(row.id, row.designation, _scope(row), *row[7:])
