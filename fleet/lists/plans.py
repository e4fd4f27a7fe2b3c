"""The plans that were made, and what became of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select
from sqlalchemy.orm import aliased

from fleet.records import PersonRow, PlanRow
from fleet.refusals import NotFound
from fleet.rules.plans import Draft, read_body

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One plan of a period [starts_at, ends_at): proposed, accepted, or dropped for a reason."""

    number: int
    sites: str
    starts_at: datetime
    ends_at: datetime
    made_at: datetime
    made_by: str | None
    accepted_at: datetime | None
    accepted_by: str | None
    dropped_at: datetime | None
    drop_reason: str | None

    @property
    def state(self) -> str:
        """What became of it."""
        if self.accepted_at:
            return "accepted"
        return "dropped" if self.dropped_at else "proposed"


@dataclass(frozen=True, slots=True)
class PlanSheet:
    """One plan with all that is in it."""

    line: PlanLine
    draft: Draft


_TAKER = aliased(PersonRow)
_PLANS = (
    select(
        PlanRow.id,
        PlanRow.sites,
        PlanRow.starts_at,
        PlanRow.ends_at,
        PlanRow.made_at,
        PersonRow.name,
        PlanRow.accepted_at,
        _TAKER.name.label("accepted_by"),
        PlanRow.dropped_at,
        PlanRow.drop_reason,
    )
    .outerjoin(PersonRow, PersonRow.id == PlanRow.made_by_id)
    .outerjoin(_TAKER, _TAKER.id == PlanRow.accepted_by_id)
    .order_by(PlanRow.id.desc())
)
_ONE = _PLANS.add_columns(PlanRow.body).where(PlanRow.id == bindparam("number"))


def plans(db: Connection) -> list[PlanLine]:
    """Every plan, the newest first."""
    return [_line(row) for row in db.execute(_PLANS)]


def find_plan(db: Connection, number: int) -> PlanSheet:
    """One plan by its number."""
    row = db.execute(_ONE, {"number": number}).first()
    if row is None:
        raise NotFound(f"There is no plan {number}. See: fleet plan list")
    sites, grid_hours = read_body(row.body)
    return PlanSheet(_line(row), Draft(row.starts_at, row.ends_at, grid_hours, sites))


def _line(row: AnyRow) -> PlanLine:
    return PlanLine(*row[:10])
