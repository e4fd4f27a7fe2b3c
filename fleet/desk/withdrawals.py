"""Taking back what was recorded by mistake, by a second entry that names the first; both stay readable."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, exists, insert, select
from sqlalchemy.orm import aliased

from fleet.ledgers import daybook
from fleet.ledgers.holds import open_hold
from fleet.ledgers.upkeep import withdraw_done
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.records import HoldRow, InspectionRow, ItemRow, SiteRow, UpkeepRow
from fleet.records.base import rows_of
from fleet.refusals import NotFound, NotPossible
from fleet.rules.conditions import HoldCause
from fleet.rules.people import Actor, require
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role
from fleet.rules.requests import used_otherwise

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow

_ROWS = rows_of(InspectionRow)
_ADD = insert(_ROWS)
_FIRST = (
    select(_ROWS, ItemRow.tag, SiteRow.code.label("site"))
    .join(ItemRow, ItemRow.id == _ROWS.c.item_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .where(_ROWS.c.id == bindparam("number"))
)
_LOCK = select(ItemRow.id).where(ItemRow.id == bindparam("item")).with_for_update()
_SAME = select(_ROWS.c.id, _ROWS.c.withdraws_id).where(_ROWS.c.client_id == bindparam("client"))
_SECOND = select(_ROWS.c.id).where(_ROWS.c.withdraws_id == bindparam("number"))
_WITHDRAWAL = aliased(UpkeepRow)
_DONE = (
    select(UpkeepRow.id)
    .where(
        UpkeepRow.inspection_id == bindparam("number"),
        UpkeepRow.withdraws_id.is_(None),
        ~exists().where(_WITHDRAWAL.withdraws_id == UpkeepRow.id),
    )
    .order_by(UpkeepRow.id)
)
_RELEASED = select(HoldRow.id).where(
    HoldRow.inspection_id == bindparam("number"), HoldRow.released_at.is_not(None)
)


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """The second entry, the first that it withdraws, and what went with it.

    ``result`` is what the first had come to. ``entries``: how many entries of upkeep it had fulfilled,
    withdrawn now. ``held``: it had released a hold, so another was opened.
    """

    number: int
    withdraws: int
    tag: str
    result: str
    entries: int
    held: bool
    again: bool = False


def withdraw_inspection(
    db: Connection, number: int, reason: str, *, client_id: str, by: Actor, now: datetime
) -> Withdrawn:
    """Withdraw one inspection, with the upkeep it fulfilled. A hold that it opened stays until released."""
    first = db.execute(_FIRST, {"number": number}).first()
    if first is None:
        raise NotFound(f"There is no inspection {number}. See those of an item with: fleet inspections TAG")
    same = db.execute(_SAME, {"client": client_id}).first()
    if same is not None:
        if same.withdraws_id != number:
            raise used_otherwise(client_id)
        return Withdrawn(same.id, number, first.tag, first.result, 0, held=False, again=True)
    site = find_site(db, first.site)
    require(by, site.id, site.name, Role.KEEPER, Role.SAFETY)
    why = written_reason(reason, "why the inspection is withdrawn")
    _check(db, first)
    second = _write(db, first, why, client_id=client_id, by=by, now=now)
    entries = [
        withdraw_done(db, entry, why, by=by, now=now, client_id=f"{client_id}/{at}")
        for at, entry in enumerate(db.execute(_DONE, {"number": number}).scalars().all())
    ]
    body = {"inspection": second, "withdraws": number, "reason": why, "upkeep_entries": len(entries)}
    daybook.enter(db, site.id, by=by, now=now, act="inspection withdrawn", about=first.tag, body=body)
    held = db.execute(_RELEASED, {"number": number}).first() is not None
    if held:
        kept = f"Inspection {number}, which had released it, was withdrawn: {why}"
        open_hold(db, item_id=first.item_id, cause=HoldCause.INSPECTION, reason=kept, by=by, now=now)
    return Withdrawn(second, number, first.tag, first.result, len(entries), held)


def _check(db: Connection, first: AnyRow) -> None:
    """Only once, and only what withdraws nothing itself; whoever is at it elsewhere has then finished."""
    db.execute(_LOCK, {"item": first.item_id})
    if first.withdraws_id is not None:
        raise NotPossible(f"{first.id} withdraws inspection {first.withdraws_id}; it is none itself.")
    before = db.execute(_SECOND, {"number": first.id}).scalar()
    if before is not None:
        raise NotPossible(
            f"Inspection {first.id} of {show_tag(first.tag)} was already withdrawn, by entry {before}."
        )


def _write(db: Connection, first: AnyRow, why: str, *, client_id: str, by: Actor, now: datetime) -> int:
    """The second entry: what the first said, by whom and why it counts no longer."""
    kept = {column.name: first._mapping[column.name] for column in _ROWS.columns if column.name != "id"}  # noqa: SLF001  SQLAlchemy's own public way in.
    row = kept | {
        "client_id": client_id,
        "note": None,
        "by_id": by.id,
        "by_name": by.name,
        "recorded_at": now,
        "withdraws_id": first.id,
        "reason": why,
    }
    (number,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    return int(number)
