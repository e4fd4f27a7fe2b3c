"""What the wrenches and pumps of one loan did: what the other parts of the kit served."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import bindparam, case, func, select
from sqlalchemy.orm import aliased

from fleet.bolting.parts import Kind
from fleet.records import ItemRow, LoanLineRow, ModelRow, UsageRow
from fleet.rules.due import Meter
from fleet.rules.usage import Worked, served_use

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

_SAME = aliased(LoanLineRow)
_KIND = (
    select(ModelRow.kind)
    .join(ItemRow, ItemRow.model_id == ModelRow.id)
    .join(LoanLineRow, LoanLineRow.item_id == ItemRow.id)
    .where(LoanLineRow.id == bindparam("line"))
)
_WORKED = (
    select(
        ModelRow.kind,
        # Of what is out again after its return was undone, nothing is booked.
        case((LoanLineRow.returned_at.is_not(None), func.sum(UsageRow.cycles))),
        case((LoanLineRow.returned_at.is_not(None), func.sum(UsageRow.minutes))),
        LoanLineRow.planned_cycles,
        LoanLineRow.planned_minutes,
    )
    .join(_SAME, _SAME.loan_id == LoanLineRow.loan_id)
    .join(ItemRow, ItemRow.id == LoanLineRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .outerjoin(UsageRow, UsageRow.loan_line_id == LoanLineRow.id)
    .where(_SAME.id == bindparam("line"), ModelRow.kind.in_((Kind.WRENCH.value, Kind.PUMP.value)))
    .group_by(
        LoanLineRow.id,
        ModelRow.kind,
        LoanLineRow.planned_cycles,
        LoanLineRow.planned_minutes,
        LoanLineRow.returned_at,
    )
)


def served(db: Connection, line: int) -> Meter | None:
    """The use of one loan line by what its kit's wrenches and pumps did, or were to do; None if unknown."""
    kind = db.execute(_KIND, {"line": line}).scalar_one()
    worked = [Worked(*row) for row in db.execute(_WORKED, {"line": line})]
    found = served_use(kind, worked)
    return Meter(*found) if found else None
