"""The repairs of one item."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, select

from fleet.lists.rows import lines
from fleet.records import FileOfRow, RepairRow

if TYPE_CHECKING:
    from datetime import date

    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine


@dataclass(frozen=True, slots=True)
class RepairLine:
    """One repair; the meter as it read at the end of that day."""

    number: int
    work: str
    description: str
    done_on: date
    cycles_at: int
    minutes_at: int
    by: str
    photographs: int


_PHOTOGRAPHS = select(func.count()).where(FileOfRow.repair_id == RepairRow.id).scalar_subquery()
_REPAIRS = (
    select(
        RepairRow.id,
        RepairRow.work,
        RepairRow.description,
        RepairRow.done_on,
        RepairRow.cycles_at,
        RepairRow.minutes_at,
        RepairRow.by_name,
        _PHOTOGRAPHS,
    )
    .where(RepairRow.item_id == bindparam("item"))
    .order_by(RepairRow.done_on.desc(), RepairRow.id.desc())
)


def repairs(db: Connection, item: ItemLine) -> list[RepairLine]:
    """Every repair of the item, the newest first."""
    return lines(RepairLine, db.execute(_REPAIRS, {"item": item.id}))
