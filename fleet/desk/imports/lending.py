"""What is out now."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from sqlalchemy import bindparam, insert, or_, select, update

from fleet.desk.imports.holding import person, read_moments
from fleet.desk.imports.piles import only_once
from fleet.lists.planned import planned_use
from fleet.measures.tags import show_tag
from fleet.measures.times import local_day, show_day
from fleet.records import ItemRow, LoanLineRow, LoanRow
from fleet.records.base import rows_of
from fleet.rules.cells import CellRefused, Field, day, moment
from fleet.rules.register import Role
from fleet.rules.strokes import PlannedUse

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.desk.imports.known import KnownItem, KnownJob
    from fleet.desk.imports.tables import Table
    from fleet.desk.imports.work import Line, Work
    from fleet.lists.rows import AnyRow

_WHO = (Role.KEEPER,)
_LOANS = uuid.UUID("2e1c3c3b-0a0b-5c58-8c1d-5f6d9f0f5b42")
_ON_RECORD = select(
    LoanLineRow.item_id,
    LoanLineRow.returned_at,
    LoanRow.id,
    LoanRow.borrower_id,
    LoanRow.job_id,
    LoanRow.issued_at,
    LoanRow.back_on,
    LoanRow.issued_by_id,
).join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
_IDS = select(LoanRow.client_id, LoanRow.id)
_ITEMS = rows_of(ItemRow)
_DAY = bindparam("day", type_=ItemRow.first_out_on.type)
_FIRST_OUT = (
    update(_ITEMS)
    .where(
        _ITEMS.c.id == bindparam("of_item"),
        or_(_ITEMS.c.first_out_on.is_(None), _ITEMS.c.first_out_on > _DAY),
    )
    .values(first_out_on=_DAY)
)


def take_loans(work: Work, tables: Sequence[Table]) -> None:
    """Loans that are out: one per borrower, job, time of issue and day to be back."""
    fields = (
        Field("Tag", ("item",), lambda cell, _unit: (work.known.item(cell),)),
        Field("Borrower", ("borrower",), lambda cell, _unit: (work.known.people.find(cell),)),
        Field("Job", ("job",), lambda cell, _unit: (work.known.jobs.find(cell),)),
        moment("Issued on", "issued_at"),
        day("Back on", "back_on"),
        person(work, "By", "issued_by_id"),
    )
    loans = _Loans(work)
    given = [(line, line.values["item"].id) for line in work.lines(tables, fields)]
    for line, _ in only_once(work, given):
        with work.judging(line):
            loans.take(line)
    loans.write()
    work.known.forget("items_out")


class _Loans:
    """The loans sheet against every loan there ever was, so that what came back since stays in."""

    def __init__(self, work: Work) -> None:
        self.work = work
        self.lines: dict[tuple[Any, ...], AnyRow] = {}
        self.out: dict[int, AnyRow] = {}
        for row in work.db.execute(_ON_RECORD):
            self.lines[row.item_id, row.borrower_id, row.job_id, row.issued_at] = row
            if row.returned_at is None:
                self.out[row.item_id] = row
        self.new: dict[tuple[Any, ...], list[Line]] = {}
        self.back = 0

    def take(self, line: Line) -> None:
        """Judge one row. Raises a refusal."""
        read_moments(self.work, line, ("Issued on", "issued_at"))
        values = line.values
        item, job = values["item"], values["job"]
        kept = self.lines.get((item.id, values["borrower"].id, job.id, values["issued_at"]))
        if kept is not None:
            self._same(line, kept)
            self.back += kept.returned_at is not None
            self.work.count(line, "unchanged", job.site_id)
            return
        self._judge(line, item, job)
        by = values.get("issued_by_id") or self.work.by.id
        if by is None:
            raise CellRefused(
                "missing", "Say who issued it: give the badge in a column By, as nobody is acting yet.", "By"
            )
        self.work.allow(job.site_id, *_WHO)
        loan = (values["borrower"].id, job.id, values["issued_at"], values["back_on"], job.site_id, by)
        self.new.setdefault(loan, []).append(line)
        self.work.count(line, "new", job.site_id)

    def _same(self, line: Line, kept: AnyRow) -> None:
        if kept.back_on != line.values["back_on"]:
            raise CellRefused(
                "other day", f"This loan is to be back on {show_day(kept.back_on)} on record.", "Back on"
            )
        by = line.values.get("issued_by_id")
        if by is not None and by != kept.issued_by_id:
            raise CellRefused("other person", "This loan was issued by somebody else on record.", "By")

    def _judge(self, line: Line, item: KnownItem, job: KnownJob) -> None:
        shown, site = show_tag(item.tag), self.work.known.sites_by_id[job.site_id]
        if item.retired_on:
            raise CellRefused("retired", f"{shown} was retired on {show_day(item.retired_on)}.", "Tag")
        if item.site_id != job.site_id:
            own = self.work.known.sites_by_id[item.site_id].code
            raise CellRefused(
                "elsewhere", f"{shown} belongs to {own}, and {job.code} is at {site.code}.", "Job"
            )
        if out := self.out.get(item.id):
            holder = self.work.known.people_by_id[out.borrower_id].name
            raise CellRefused(
                "out", f"{shown} is already out with {holder} until {show_day(out.back_on)}.", "Tag"
            )
        if line.values["back_on"] < local_day(line.values["issued_at"], site.zone):
            raise CellRefused("ends first", "It cannot be due back before it was issued.", "Back on")

    def write(self) -> None:
        """One loan for the rows that belong together, and a line for each."""
        if self.back:
            verb = "loan of these files has" if self.back == 1 else "loans of these files have"
            self.work.notes.append(f"{self.back} {verb} come back since; nothing was changed about that.")
        if not self.new:
            return
        names = {loan: self._name(loan) for loan in self.new}
        known = set(self.work.db.execute(_IDS).scalars())
        columns = ("borrower_id", "job_id", "issued_at", "back_on", "site_id", "issued_by_id")
        rows = [
            {"client_id": names[loan]} | dict(zip(columns, loan, strict=True))
            for loan in self.new
            if names[loan] not in known
        ]
        if rows:
            self.work.db.execute(insert(rows_of(LoanRow)), rows)
        ids = {row.client_id: row.id for row in self.work.db.execute(_IDS)}
        planned = planned_use(self.work.db, {loan[1] for loan in self.new})
        lines = []
        for loan, out in self.new.items():
            for line in out:
                item_id = line.values["item"].id
                use = planned.get((item_id, loan[1]), PlannedUse(None, None))
                lines.append(
                    {
                        "loan_id": ids[names[loan]],
                        "item_id": item_id,
                        "planned_cycles": use.cycles,
                        "planned_minutes": use.minutes,
                    }
                )
        self.work.db.execute(insert(rows_of(LoanLineRow)), lines)
        self._note_first_days()

    def _note_first_days(self) -> None:
        """An item that is out has been out since that day at least, however long it lay before."""
        zones = {number: site.zone for number, site in self.work.known.sites_by_id.items()}
        days = [
            {"of_item": line.values["item"].id, "day": local_day(loan[2], zones[loan[4]])}
            for loan, out in self.new.items()
            for line in out
        ]
        self.work.db.execute(_FIRST_OUT, days)

    def _name(self, loan: tuple[Any, ...]) -> str:
        """The name of a loan by its content, so that a second file adds its lines to the same loan."""
        known = self.work.known
        said = (known.people_by_id[loan[0]].badge, loan[1], loan[2].isoformat(), loan[3].isoformat(), loan[5])
        return str(uuid.uuid5(_LOANS, " ".join(str(part) for part in said)))
