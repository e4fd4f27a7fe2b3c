"""Use, and what takes a wrong entry of use back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import select

from fleet.desk.imports.ledgers import Ledger, entry_fields
from fleet.desk.imports.meters import recount
from fleet.records import UsageRow
from fleet.rules.cells import CellRefused, Field, maybe, needed, not_after, signed_count, text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.desk.imports.tables import Table
    from fleet.desk.imports.work import Line, Work
    from fleet.lists.rows import AnyRow

_COMPARED = {
    "item_id": "Tag",
    "used_on": "Used on",
    "job_id": "Job",
    "cycles": "Cycles",
    "minutes": "Pump minutes",
    "by_id": "By",
    "reason": "Note",
}
# An opening balance may hold a long life; more than this is a slip of the finger.
_MOST = 10_000_000
_ENTRIES = select(
    UsageRow.id,
    UsageRow.client_id,
    UsageRow.item_id,
    UsageRow.loan_line_id,
    UsageRow.job_id,
    UsageRow.cycles,
    UsageRow.minutes,
    UsageRow.used_on,
    UsageRow.reverses_id,
)


def take_use(work: Work, tables: Sequence[Table]) -> None:
    """Use first; then what takes an entry back, because that entry may stand in the same file."""
    fields = (
        *entry_fields(work, "Used on", "used_on", "reason"),
        maybe("Job", "job_id", lambda cell, _unit: (work.known.jobs.find(cell).id,)),
        needed("Cycles", "cycles", signed_count),
        Field("Pump minutes", ("minutes",), signed_count, (0,)),
        maybe("Reverses", "reverses", text),
    )
    ledger = Ledger(work, UsageRow, _COMPARED)
    lines = ledger.lines(work.lines(tables, fields), _content)
    for line in lines:
        line.values.setdefault("minutes", 0)
        line.values["item_id"] = line.values["item"].id
        if not line.values.get("reverses"):
            with work.judging(line):
                _take_plain(work, ledger, line)
    ledger.write("use")
    _take_reversals(work, ledger, [line for line in lines if line.values.get("reverses")])
    recount(work, ledger.touched)
    work.due_again |= ledger.touched


def _content(line: Line) -> list[object]:
    """What makes two rows of use the same, however their cells are written."""
    values = line.values
    return [
        values["item"].tag,
        str(values["used_on"]),
        line.cell("Job").casefold(),
        values["cycles"],
        values.get("minutes") or 0,
        line.cell("By").casefold(),
        values.get("reason") or "",
        values.get("reverses") or "",
    ]


def _take_plain(work: Work, ledger: Ledger, line: Line) -> None:
    values = line.values
    if values["cycles"] < 0 or values["minutes"] < 0:
        column = "Cycles" if values["cycles"] < 0 else "Pump minutes"
        sentence = "Use cannot be negative; to take an entry back, name it in the column Reverses."
        raise CellRefused("below zero", sentence, column)
    if ledger.knows(line):
        return ledger.skip(line)
    if max(values["cycles"], values["minutes"]) > _MOST:
        raise CellRefused("too much", f"More than {_MOST:,} in one entry is a slip of the finger.", "Cycles")
    not_after(values["used_on"], work.known.sites_by_id[values["item"].site_id].today, "Used on")
    return ledger.add(line, {"loan_line_id": None, "reverses_id": None})


def _take_reversals(work: Work, ledger: Ledger, lines: Sequence[Line]) -> None:
    if not lines:
        return
    rows = work.db.execute(_ENTRIES).all()
    entries = {row.client_id: row for row in rows}
    taken_back = {row.reverses_id: row.client_id for row in rows}
    for line in lines:
        with work.judging(line):
            if ledger.knows(line):
                ledger.skip(line)
                continue
            entry = entries.get(line.values["reverses"])
            if entry is None:
                asked = line.cell("Reverses")
                raise CellRefused("unknown", f'There is no entry "{asked}" of use on record.', "Reverses")
            _check_reversal(line, entry, taken_back.get(entry.id))
            more = {"loan_line_id": entry.loan_line_id, "reverses_id": entry.id, "job_id": entry.job_id}
            ledger.add(line, more)
            taken_back[entry.id] = line.values["client_id"]
    ledger.write("reversals")


def _check_reversal(line: Line, entry: AnyRow, before: str | None) -> None:
    values = line.values
    if entry.reverses_id is not None:
        sentence = f'"{entry.client_id}" itself takes an entry back; if that was wrong, note the use again.'
        raise CellRefused("reversal of a reversal", sentence, "Reverses")
    if before:
        sentence = f'"{entry.client_id}" was already taken back by "{before}".'
        raise CellRefused("reversed before", sentence, "Reverses")
    said = (values["item_id"], values["cycles"], values["minutes"], values["used_on"])
    if said != (entry.item_id, -entry.cycles, -entry.minutes, entry.used_on):
        raise CellRefused(
            "not the same",
            f"A row that takes an entry back takes all of it, on its item and day: {-entry.cycles} cycles "
            f"and {-entry.minutes} minutes on {entry.used_on}.",
            "Cycles",
        )
    if values.get("job_id") not in (None, entry.job_id):
        raise CellRefused("not the same", "What takes an entry back belongs to the job of the entry.", "Job")
    if not values.get("reason"):
        raise CellRefused("missing", "Say here why the entry was wrong.", "Note")
