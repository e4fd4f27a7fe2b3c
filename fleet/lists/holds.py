"""What is on hold (in quarantine), why, and for how long."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import and_, bindparam, select
from sqlalchemy.orm import aliased

from fleet.measures.times import local_day, zone
from fleet.records import HoldRow, ItemRow, LoanLineRow, LoanRow, ModelRow, PersonRow

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine


@dataclass(frozen=True, slots=True)
class HoldLine:
    """One open hold. ``holder`` is empty while the item is in; ``opened_by`` when the program opened it."""

    id: int
    tag: str
    kind: str
    model: str
    serial: str
    shelf: str | None
    holder: str | None
    cause: str
    reason: str
    opened_on: date
    opened_by: str | None
    age_days: int


_OPENER = aliased(PersonRow)
_HOLDS = (
    select(
        HoldRow.id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.serial,
        ItemRow.shelf,
        PersonRow.name.label("holder"),
        HoldRow.cause,
        HoldRow.reason,
        HoldRow.opened_at,
        _OPENER.name.label("opened_by"),
    )
    .join(ItemRow, ItemRow.id == HoldRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .outerjoin(LoanLineRow, and_(LoanLineRow.item_id == ItemRow.id, LoanLineRow.returned_at.is_(None)))
    .outerjoin(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .outerjoin(PersonRow, PersonRow.id == LoanRow.borrower_id)
    .outerjoin(_OPENER, _OPENER.id == HoldRow.opened_by_id)
    .where(HoldRow.released_at.is_(None), ItemRow.site_id == bindparam("site"))
    .order_by(HoldRow.opened_at, ItemRow.tag, HoldRow.id)
)


def holds(db: Connection, site: SiteLine, *, now: datetime) -> list[HoldLine]:
    """Every open hold at the site, the oldest first."""
    there, today = zone(site.time_zone), site.today(now)
    found = []
    for row in db.execute(_HOLDS, {"site": site.id}):
        opened_on = local_day(row.opened_at, there)
        found.append(HoldLine(*row[:9], opened_on, row.opened_by, (today - opened_on).days))
    return found
