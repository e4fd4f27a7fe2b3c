"""Taking in a room's own checklists; older versions are kept, and inspections keep the wording they asked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import insert, text

from fleet.ledgers import daybook
from fleet.lists.checklists import find_checklist
from fleet.records import ChecklistRow, CheckpointRow
from fleet.records.base import rows_of
from fleet.rules.checklists import Checklist
from fleet.rules.people import Actor, require_anywhere
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from sqlalchemy.engine import Connection

# The day-book chain of what belongs to no site.
_SHARED = 0

_ADD = insert(rows_of(ChecklistRow))
_ADD_POINT = insert(rows_of(CheckpointRow))
# Two who take in a checklist at once must not both make the same version. SQLite has its write lock.
_QUEUE = text("SELECT pg_advisory_xact_lock(7003)")


def take_in_checklists(
    db: Connection, given: Iterable[Checklist], *, by: Actor, now: datetime
) -> list[tuple[Checklist, bool]]:
    """Put checklists in use as the next version for their kind; answers each, and whether it is new.

    One that says what is in use already makes no version.
    """
    require_anywhere(by, Role.SAFETY)
    if db.dialect.name == "postgresql":
        db.execute(_QUEUE)
    return [_take_in(db, one, by=by, now=now) for one in given]


def _take_in(db: Connection, given: Checklist, *, by: Actor, now: datetime) -> tuple[Checklist, bool]:
    before = find_checklist(db, given.kind)
    if before.points == given.points:
        return before, False
    made = Checklist(given.kind, before.version + 1, given.source, given.points)
    row = {
        "kind": made.kind,
        "version": made.version,
        "source": made.source,
        "entered_at": now,
        "entered_by_id": by.id,
    }
    (number,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    points = [
        {"checklist_id": number, "position": at, "wording": point}
        for at, point in enumerate(made.points, start=1)
    ]
    db.execute(_ADD_POINT, points)
    body = {
        "kind": made.kind,
        "version": made.version,
        "source": made.source,
        "added": [point for point in made.points if point not in before.points],
        "left_out": [point for point in before.points if point not in made.points],
    }
    daybook.enter(db, _SHARED, by=by, now=now, act="checklist taken in", about=made.kind, body=body)
    return made, True
