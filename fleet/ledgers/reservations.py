"""Writing reservations: no two live windows of an item overlap, and what was changed stays on record."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, update
from sqlalchemy.exc import IntegrityError

from fleet.records import ReservationRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.people import Actor

_ROWS = rows_of(ReservationRow)
_ADD = insert(_ROWS)
_END = (
    update(_ROWS)
    .where(_ROWS.c.id == bindparam("number"), _ROWS.c.ended_at.is_(None))
    .values(ended_at=bindparam("now"), ended_by_id=bindparam("by"), end_reason=bindparam("why"))
)


@dataclass(frozen=True, slots=True)
class Keeping:
    """One item kept for one job in a window [starts_at, ends_at)."""

    client_id: str
    item_id: int
    job_id: int
    joint_id: int | None
    starts_at: datetime
    ends_at: datetime
    any_of: str | None = None
    expires_at: datetime | None = None
    replaces_id: int | None = None
    plan_id: int | None = None


def keep(db: Connection, asked: Sequence[Keeping], *, by: Actor, now: datetime) -> None:
    """Write reservations, all or none; the database itself refuses windows of one item that overlap."""
    rows = [asdict(one) | {"reserved_at": now, "reserved_by_id": by.id} for one in asked]
    try:
        db.execute(_ADD, rows)
    except IntegrityError as error:
        if "ex_reservation_no_overlap" in str(error.orig):
            raise NotPossible(
                "Nothing was reserved: one of these items was just reserved by somebody else for that time."
            ) from error
        raise


def end(db: Connection, number: int, why: str, *, by: Actor, now: datetime) -> bool:
    """End one live reservation; answers whether it still was one."""
    asked = {"number": number, "now": now, "by": by.id, "why": why}
    return bool(db.execute(_END, asked).rowcount)
