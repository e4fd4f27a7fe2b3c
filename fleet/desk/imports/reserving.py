"""Reservations: items kept for a job in a window [from, to)."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from fleet.desk.imports.holding import person
from fleet.desk.imports.piles import Laid, Pile, only_once
from fleet.measures.tags import show_tag
from fleet.measures.times import local_day, show_day
from fleet.records import JointRow, ReservationRow
from fleet.rules.cells import CellRefused, Field, moment, text
from fleet.rules.joints import read_window
from fleet.rules.nearest import hint
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from fleet.desk.imports.tables import Table
    from fleet.desk.imports.work import Line, Work

_WHO = (Role.PLANNER, Role.KEEPER)
_RESERVATIONS = uuid.UUID("0b9be9bb-3f0f-5b0f-9d0e-8b8e5f2f7a35")
_ENDED = select(
    ReservationRow.item_id, ReservationRow.job_id, ReservationRow.starts_at, ReservationRow.ends_at
).where(ReservationRow.ended_at.is_not(None))
_MARKS = select(JointRow.id, JointRow.mark)


def take_reservations(work: Work, tables: Sequence[Table]) -> None:
    """Reservations by item, job and window. No two windows of one item may overlap."""
    marks = {row.id: row.mark for row in work.db.execute(_MARKS)}
    fields = (
        Field("Tag", ("item",), lambda cell, _unit: (work.known.item(cell),)),
        Field("Job", ("job",), lambda cell, _unit: (work.known.jobs.find(cell),)),
        Field("Joint", ("joint_id",), text, (None,), show=lambda number: marks[number] if number else ""),
        moment("From", "starts_at"),
        moment("To", "ends_at"),
        person(work, "By", "reserved_by_id"),
    )
    reservations = _Reservations(work, fields)
    lines = []
    for line in work.lines(tables, fields):
        with work.judging(line):
            lines.append((line, reservations.key(line)))
    for line, key in only_once(work, lines):
        with work.judging(line):
            reservations.take(line, key)
    reservations.write()


class _Reservations:
    """The reservations sheet against what is kept, and what was kept once."""

    def __init__(self, work: Work, fields: Sequence[Field]) -> None:
        self.work = work
        live = ReservationRow.ended_at.is_(None)
        self.pile = Pile(work, ReservationRow, fields, _key_of, filled={"reserved_at": work.now}, where=live)
        self.ended = {tuple(row) for row in work.db.execute(_ENDED)}
        self.windows: dict[int, list[tuple[datetime, datetime, int]]] = {}
        for row in self.pile.kept.values():
            self._occupy(row.item_id, row.starts_at, row.ends_at, row.job_id)
        self.jobs = {job.id: job for job in work.known.jobs.exact.values()}
        self.freed = 0

    def _occupy(self, item: int, starts: datetime, ends: datetime, job: int) -> None:
        self.windows.setdefault(item, []).append((starts, ends, job))

    def key(self, line: Line) -> tuple[Any, ...]:
        """Item, job and window, once the window is read by the clock of the job's site."""
        values = line.values
        values["item_id"], values["job_id"] = values["item"].id, values["job"].id
        there = self.work.known.sites_by_id[values["job"].site_id].zone
        read_window(values, there, ("From", "starts_at"), ("To", "ends_at"))
        return values["item_id"], values["job_id"], values["starts_at"], values["ends_at"]

    def take(self, line: Line, key: tuple[Any, ...]) -> None:
        """Judge one row and lay it on the pile. Raises a refusal."""
        values, site = line.values, line.values["job"].site_id
        if key not in self.pile.kept and key in self.ended:
            self.freed += 1
            self.work.count(line, "unchanged", site)
            return
        if values.get("joint_id") is not None:
            values["joint_id"] = self._joint(line)
        if key not in self.pile.kept:
            self._judge(line)
            values["reserved_by_id"] = values.get("reserved_by_id") or self.work.by.id
            if values["reserved_by_id"] is None:
                raise CellRefused(
                    "missing",
                    "Say who reserved it: give the badge in a column By, as nobody is acting yet.",
                    "By",
                )
            said = " ".join(str(part) for part in key)
            values["client_id"] = str(uuid.uuid5(_RESERVATIONS, said))
        about = f"{show_tag(values['item'].tag)} for {values['job'].code}"
        if self.pile.lay(line, Laid(key, about, site, _WHO)) == "new":
            self._occupy(values["item_id"], values["starts_at"], values["ends_at"], values["job_id"])

    def _joint(self, line: Line) -> int:
        job, mark = line.values["job"], line.values["joint_id"]
        found = self.work.known.joints.get((job.id, mark.casefold()))
        if found is None:
            near = hint(mark, (name for number, name in self.work.known.joints if number == job.id))
            raise CellRefused("unknown", f'{job.code} has no joint "{mark}".{near}', "Joint")
        return found

    def _judge(self, line: Line) -> None:
        item, job = line.values["item"], line.values["job"]
        shown, sites = show_tag(item.tag), self.work.known.sites_by_id
        if item.retired_on:
            raise CellRefused("retired", f"{shown} was retired on {show_day(item.retired_on)}.", "Tag")
        if item.site_id != job.site_id:
            own, there = sites[item.site_id].code, sites[job.site_id].code
            raise CellRefused("elsewhere", f"{shown} belongs to {own}, and {job.code} is at {there}.", "Job")
        for starts, ends, other in self.windows.get(item.id, ()):
            if starts < line.values["ends_at"] and line.values["starts_at"] < ends:
                zone = sites[job.site_id].zone
                days = f"{show_day(local_day(starts, zone))} to {show_day(local_day(ends, zone))}"
                raise CellRefused(
                    "overlap", f"{shown} is already kept for {self.jobs[other].code} from {days}.", "From"
                )

    def write(self) -> None:
        """Write what was laid."""
        if self.freed:
            verb = "reservation of these files was" if self.freed == 1 else "reservations of these files were"
            self.work.notes.append(f"{self.freed} {verb} set free since; nothing was changed about that.")
        self.pile.write("reservations")


def _key_of(row: Any) -> tuple[Any, ...]:  # noqa: ANN401  A row of the pile's own statement.
    return row.item_id, row.job_id, row.starts_at, row.ends_at
