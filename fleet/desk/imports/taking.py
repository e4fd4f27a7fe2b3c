"""The act: all files of one call, in the order in which their sheets depend on each other."""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING

from sqlalchemy import BindParameter, bindparam, func, insert, select, update

from fleet.desk.imports.charting import take_charts
from fleet.desk.imports.pieces import take_items
from fleet.desk.imports.places import take_people, take_sites
from fleet.desk.imports.planning import take_jobs, take_joints
from fleet.desk.imports.plates import take_couplings, take_models, take_ports
from fleet.desk.imports.report import Report
from fleet.desk.imports.tasks import take_tasks
from fleet.desk.imports.work import Work
from fleet.ledgers import daybook
from fleet.ledgers.due_lines import refresh
from fleet.records import ItemRow, TakenInRow, UsageRow
from fleet.records.base import rows_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.desk.imports.tables import ReadFile, Table
    from fleet.desk.imports.work import Tell
    from fleet.rules.people import Actor

# Use comes before upkeep, because a blank meter reading is looked up in it.
_STEPS = (
    ("sites", take_sites),
    ("people", take_people),
    ("couplings", take_couplings),
    ("models", take_models),
    ("ports", take_ports),
    ("upkeep", take_tasks),
    ("items", take_items),
    ("charts", take_charts),
    ("jobs", take_jobs),
    ("joints", take_joints),
)
_CHUNK = 1_000

_ITEMS = rows_of(ItemRow)
_IDS: BindParameter[int] = bindparam("ids", expanding=True)
_LOCK = select(ItemRow.id).where(ItemRow.id.in_(_IDS)).order_by(ItemRow.id).with_for_update()
_RECOUNT = (
    update(_ITEMS)
    .where(_ITEMS.c.id.in_(_IDS))
    .values(
        cycles=select(func.coalesce(func.sum(UsageRow.cycles), 0))
        .where(UsageRow.item_id == _ITEMS.c.id)
        .scalar_subquery(),
        minutes=select(func.coalesce(func.sum(UsageRow.minutes), 0))
        .where(UsageRow.item_id == _ITEMS.c.id)
        .scalar_subquery(),
    )
)
_KEPT = select(TakenInRow.id).where(TakenInRow.sha256 == bindparam("digest"))
_KEEP = insert(rows_of(TakenInRow))


def _say_nothing(_what: str, _done: int, _of: int) -> None:
    """Where nobody watches."""


def import_files(
    db: Connection, files: Sequence[ReadFile], *, by: Actor, now: datetime, tell: Tell = _say_nothing
) -> Report:
    """Take in every row that can be, and answer what became of each; nothing is raised for a refused row.

    The act writes. Whoever only wants to see what would happen, or wants all rows or none, undoes the
    transaction after reading the report. ``tell`` is told what is being done: a phrase, so many, of so many.
    """
    work = Work(db, by, now, tell)
    tables = [table for file in files for table in file.tables]
    for table in tables:
        if table.recognised.faults or table.recognised.sheet is None:
            work.refuse_table(table)
    for name, take in _STEPS:
        chosen = [table for table in tables if _is(table, name)]
        if chosen:
            take(work, chosen)
    _bring_up_to_date(work)
    _enter(work, files)
    return Report(
        tables=work.table_reports(tables),
        rejections=tuple(work.rejections),
        changes=tuple(dict.fromkeys(change for changes in work.changes.values() for change in changes)),
        notes=(*(note for file in files for note in file.notes), *work.notes),
    )


def _is(table: Table, name: str) -> bool:
    found = table.recognised
    return not found.faults and found.sheet is not None and found.sheet.name == name


def _bring_up_to_date(work: Work) -> None:
    """Meters to the sums of the ledger, then due lines."""
    db, today = work.db, {number: site.today for number, site in work.known.sites_by_id.items()}
    counted = sorted(work.count_again)
    for start in range(0, len(counted), _CHUNK):
        chosen = {"ids": counted[start : start + _CHUNK]}
        if db.dialect.name == "postgresql":
            # A return at another desk must be in the sum, so its row is waited for before the sum is taken.
            db.execute(_LOCK, chosen)
        db.execute(_RECOUNT, chosen)
    due = sorted(work.due_again | work.count_again)
    for start in range(0, len(due), _CHUNK):
        work.tell("working out what is due", start, len(due))
        refresh(db, due[start : start + _CHUNK], today.__getitem__)


def _enter(work: Work, files: Sequence[ReadFile]) -> None:
    """One entry per chain that was touched; the files themselves are kept, each digest once."""
    if not work.written:
        return
    names = [{"name": file.name, "sha256": file.sha256} for file in files]
    for chain, counts in sorted(work.written.items()):
        body = {
            "files": names,
            "counts": dict(sorted(counts.items())),
            "changes": [[one.sheet, one.about, one.column, one.old, one.new] for one in work.changes[chain]],
        }
        about = ", ".join(file.name for file in files)
        daybook.enter(work.db, chain, by=work.by, now=work.now, act="imported", about=about, body=body)
    for file in files:
        if work.db.execute(_KEPT, {"digest": file.sha256}).first() is None:
            packed = zlib.compress(file.content)
            row = {"sha256": file.sha256, "name": file.name, "content": packed, "taken_at": work.now}
            work.db.execute(_KEEP, row)
