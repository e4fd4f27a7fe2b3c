"""The usage ledger of an item."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select
from sqlalchemy.orm import aliased

from fleet.lists.rows import lines
from fleet.records import ItemRow, JobRow, JointRow, PersonRow, UsageRow

if TYPE_CHECKING:
    from datetime import date

    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine


@dataclass(frozen=True, slots=True)
class UsageLine:
    """One entry. ``reverses`` and ``reversed_by`` name the other entry of a correction."""

    entry: int
    used_on: date
    job: str | None
    joint: str | None
    cycles: int
    minutes: int
    reverses: int | None
    reversed_by: int | None
    reason: str | None
    by: str | None


_REVERSAL = aliased(UsageRow)
_ENTRIES = (
    select(
        UsageRow.id,
        UsageRow.used_on,
        JobRow.code,
        JointRow.mark,
        UsageRow.cycles,
        UsageRow.minutes,
        UsageRow.reverses_id,
        _REVERSAL.id,
        UsageRow.reason,
        PersonRow.name,
    )
    .outerjoin(JobRow, JobRow.id == UsageRow.job_id)
    .outerjoin(JointRow, JointRow.id == UsageRow.joint_id)
    .outerjoin(PersonRow, PersonRow.id == UsageRow.by_id)
    .outerjoin(_REVERSAL, _REVERSAL.reverses_id == UsageRow.id)
    .where(UsageRow.item_id == bindparam("item"))
    .order_by(UsageRow.used_on.desc(), UsageRow.id.desc())
    .limit(bindparam("most"))
)
_ITEM_OF = (
    select(ItemRow.tag)
    .join(UsageRow, UsageRow.item_id == ItemRow.id)
    .where(UsageRow.id == bindparam("entry"))
)


def usage(db: Connection, item: ItemLine, *, most: int) -> list[UsageLine]:
    """The newest entries of an item, newest first."""
    return lines(UsageLine, db.execute(_ENTRIES, {"item": item.id, "most": most}))


def item_of_use(db: Connection, entry: int) -> str | None:
    """The tag of the item that an entry is about, if there is such an entry."""
    return db.execute(_ITEM_OF, {"entry": entry}).scalar()
