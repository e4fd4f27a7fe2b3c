"""What was done on one item, mistakes and their withdrawals included."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select
from sqlalchemy.orm import aliased

from fleet.lists.rows import lines
from fleet.records import PersonRow, TaskRow, UpkeepRow

if TYPE_CHECKING:
    from datetime import date

    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine


@dataclass(frozen=True, slots=True)
class DoneLine:
    """One entry. ``withdraws`` and ``withdrawn_by`` name the other entry of a mistake."""

    entry: int
    task: str
    done_on: date
    cycles_at: int
    minutes_at: int
    note: str | None
    inspection: int | None
    proof_test: int | None
    certificate: int | None
    withdraws: int | None
    withdrawn_by: int | None
    reason: str | None
    by: str | None


_WITHDRAWAL = aliased(UpkeepRow)
_ENTRIES = (
    select(
        UpkeepRow.id,
        TaskRow.name,
        UpkeepRow.done_on,
        UpkeepRow.cycles_at,
        UpkeepRow.minutes_at,
        UpkeepRow.note,
        UpkeepRow.inspection_id,
        UpkeepRow.proof_test_id,
        UpkeepRow.calibration_id,
        UpkeepRow.withdraws_id,
        _WITHDRAWAL.id,
        UpkeepRow.reason,
        PersonRow.name,
    )
    .join(TaskRow, TaskRow.id == UpkeepRow.task_id)
    .outerjoin(PersonRow, PersonRow.id == UpkeepRow.by_id)
    .outerjoin(_WITHDRAWAL, _WITHDRAWAL.withdraws_id == UpkeepRow.id)
    .where(UpkeepRow.item_id == bindparam("item"))
    .order_by(UpkeepRow.done_on.desc(), UpkeepRow.id.desc())
    .limit(bindparam("most"))
)


def upkeep_done(db: Connection, item: ItemLine, *, most: int) -> list[DoneLine]:
    """The newest entries of an item, newest first."""
    return lines(DoneLine, db.execute(_ENTRIES, {"item": item.id, "most": most}))
