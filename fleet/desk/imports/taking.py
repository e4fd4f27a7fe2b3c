"""The act: all files of one call, in the order in which their sheets depend on each other."""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select
from sqlalchemy.exc import IntegrityError

from fleet.desk.imports.breaking import take_breakouts
from fleet.desk.imports.charting import take_charts
from fleet.desk.imports.granting import take_competences
from fleet.desk.imports.holding import take_holds
from fleet.desk.imports.lending import take_loans
from fleet.desk.imports.pieces import take_items
from fleet.desk.imports.places import take_people, take_sites
from fleet.desk.imports.planning import take_jobs, take_joints, take_templates
from fleet.desk.imports.plates import take_couplings, take_models, take_ports
from fleet.desk.imports.report import Report
from fleet.desk.imports.reserving import take_reservations
from fleet.desk.imports.tasks import take_tasks
from fleet.desk.imports.upkeeping import take_upkeep
from fleet.desk.imports.uses import take_use
from fleet.desk.imports.work import Work
from fleet.ledgers import daybook
from fleet.ledgers.due_lines import refresh
from fleet.ledgers.strengths import rate_items, rate_models
from fleet.records import TakenInRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.desk.imports.tables import ReadFile, Table
    from fleet.desk.imports.work import Tell
    from fleet.rules.people import Actor

# Use comes before upkeep, because a blank meter reading is looked up in it; reservations come before loans,
# because they say what use was planned.
_STEPS = (
    ("sites", take_sites),
    ("people", take_people),
    ("couplings", take_couplings),
    ("models", take_models),
    ("ports", take_ports),
    ("upkeep", take_tasks),
    ("items", take_items),
    ("charts", take_charts),
    ("competences", take_competences),
    ("jobs", take_jobs),
    ("joint templates", take_templates),
    ("joints", take_joints),
    ("breakouts", take_breakouts),
    ("use", take_use),
    ("upkeep done", take_upkeep),
    ("holds", take_holds),
    ("reservations", take_reservations),
    ("loans", take_loans),
)
_CHUNK = 5_000

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
    if len({file.sha256 for file in files}) < len(files):
        raise NotPossible("One file was given twice, perhaps under two names. Name each file once.")
    work = Work(db, by, now, tell)
    tables = [table for file in files for table in file.tables]
    for table in tables:
        if table.recognised.faults or table.recognised.sheet is None:
            work.refuse_table(table)
    try:
        for name, take in _STEPS:
            if chosen := [table for table in tables if _is(table, name)]:
                take(work, chosen)
    except IntegrityError as error:
        raise NotPossible(
            "Another desk changed what these files are about just now. Nothing was saved; try again."
        ) from error
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
    """The due lines of every item that something was written about, and what the kit search looks for."""
    today = {number: site.today for number, site in work.known.sites_by_id.items()}
    rate_models(work.db, work.models_to_rate)
    rate_items(work.db, work.items_to_rate)
    due = sorted(work.due_again)
    for start in range(0, len(due), _CHUNK):
        work.tell("working out what is due", start, len(due))
        refresh(work.db, due[start : start + _CHUNK], today.__getitem__)


def _enter(work: Work, files: Sequence[ReadFile]) -> None:
    """One entry per chain that was touched; the files themselves are kept, each digest once."""
    if not work.written:
        return
    names = [{"name": file.name, "sha256": file.sha256} for file in files]
    about = files[0].name if len(files) == 1 else f"{len(files)} files"
    for chain, counts in sorted(work.written.items()):
        body = {
            "files": names,
            "counts": dict(sorted(counts.items())),
            "changes": [[one.sheet, one.about, one.column, one.old, one.new] for one in work.changes[chain]],
        }
        daybook.enter(work.db, chain, by=work.by, now=work.now, act="imported", about=about, body=body)
    for file in files:
        if work.db.execute(_KEPT, {"digest": file.sha256}).first() is None:
            packed = zlib.compress(file.content)
            row = {"sha256": file.sha256, "name": file.name, "content": packed, "taken_at": work.now}
            work.db.execute(_KEEP, row)
