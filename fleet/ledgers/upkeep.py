"""Entries of upkeep that was done: one writer for all acts, whatever proves it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, insert, select

from fleet.ledgers.due_lines import refresh
from fleet.measures.times import local_day, zone
from fleet.records import ItemRow, SiteRow, UpkeepRow, UsageRow
from fleet.records.base import rows_of

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.people import Actor

_ADD = insert(rows_of(UpkeepRow))
_ENTRY = select(
    UpkeepRow.item_id,
    UpkeepRow.task_id,
    UpkeepRow.done_on,
    UpkeepRow.cycles_at,
    UpkeepRow.minutes_at,
    UpkeepRow.inspection_id,
    UpkeepRow.proof_test_id,
    UpkeepRow.calibration_id,
).where(UpkeepRow.id == bindparam("entry"))
_ZONE = (
    select(SiteRow.time_zone)
    .join(ItemRow, ItemRow.site_id == SiteRow.id)
    .where(ItemRow.id == bindparam("item"))
)
_DAY = bindparam("day", type_=UsageRow.used_on.type)
_SINCE = (UsageRow.item_id == ItemRow.id, UsageRow.used_on > _DAY)
_METER_THEN = select(
    ItemRow.cycles - select(func.coalesce(func.sum(UsageRow.cycles), 0)).where(*_SINCE).scalar_subquery(),
    ItemRow.minutes - select(func.coalesce(func.sum(UsageRow.minutes), 0)).where(*_SINCE).scalar_subquery(),
).where(ItemRow.id == bindparam("item"))


def meter_then(db: Connection, item_id: int, day: date) -> tuple[int, int]:
    """Cycles and pump minutes at the end of that day: use since then belongs to the next round."""
    cycles, minutes = db.execute(_METER_THEN, {"item": item_id, "day": day}).one()
    return int(cycles), int(minutes)


def write_done(  # noqa: PLR0913  One parameter for each thing that is kept.
    db: Connection,
    *,
    item_id: int,
    task_id: int,
    done_on: date,
    cycles_at: int,
    minutes_at: int,
    by: Actor,
    now: datetime,
    client_id: str,
    note: str | None = None,
    inspection_id: int | None = None,
    proof_test_id: int | None = None,
    calibration_id: int | None = None,
) -> int:
    """Write that one task was done on one item, work its due lines out afresh, and answer the entry's number.

    The day book is the act's: it knows what else was done.
    """
    row = {
        "client_id": client_id,
        "item_id": item_id,
        "task_id": task_id,
        "done_on": done_on,
        "cycles_at": cycles_at,
        "minutes_at": minutes_at,
        "by_id": by.id,
        "note": note,
        "recorded_at": now,
        "inspection_id": inspection_id,
        "proof_test_id": proof_test_id,
        "calibration_id": calibration_id,
    }
    return _write(db, row, item_id, now)


def withdraw_done(
    db: Connection, entry: int, reason: str, *, by: Actor, now: datetime, client_id: str
) -> int:
    """Withdraw one entry by a second one that names it and copies its figures; answer the second's number.

    The item's due lines are worked out afresh. An entry can be withdrawn only once; the caller checks that.
    """
    found = db.execute(_ENTRY, {"entry": entry}).mappings().one()
    row = dict(found) | {
        "client_id": client_id,
        "by_id": by.id,
        "note": None,
        "recorded_at": now,
        "withdraws_id": entry,
        "reason": reason,
    }
    return _write(db, row, found["item_id"], now)


def _write(db: Connection, row: dict[str, object], item_id: int, now: datetime) -> int:
    (entry,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    today = local_day(now, zone(db.execute(_ZONE, {"item": item_id}).scalar_one()))
    refresh(db, [item_id], lambda _site: today)
    return int(entry)
