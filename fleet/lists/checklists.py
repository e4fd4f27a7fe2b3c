"""Checklists: the program's own, and a room's versions of them."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select

from fleet.records import ChecklistRow, CheckpointRow
from fleet.refusals import NotFound
from fleet.rules.checklists import Checklist, program_checklist

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

_POINTS = (
    select(ChecklistRow.version, ChecklistRow.source, CheckpointRow.wording)
    .join(CheckpointRow, CheckpointRow.checklist_id == ChecklistRow.id)
    .where(ChecklistRow.kind == bindparam("kind"))
    .order_by(ChecklistRow.version, CheckpointRow.position)
)


def checklists(db: Connection, kind: str) -> list[Checklist]:
    """Every version for a kind, the program's own first and the one in use last."""
    points: defaultdict[tuple[int, str], list[str]] = defaultdict(list)
    for version, source, wording in db.execute(_POINTS, {"kind": kind}):
        points[version, source].append(wording)
    rooms = [Checklist(kind, *named, tuple(wordings)) for named, wordings in points.items()]
    return [program_checklist(kind), *rooms]


def find_checklist(db: Connection, kind: str, version: int | None = None) -> Checklist:
    """The checklist in use for a kind, or an older version of it."""
    known = checklists(db, kind)
    if version is None:
        return known[-1]
    for one in known:
        if one.version == version:
            return one
    versions = ", ".join(str(one.version) for one in known)
    raise NotFound(f"There is no version {version} of the checklist for a {kind}. Known: {versions}.")
