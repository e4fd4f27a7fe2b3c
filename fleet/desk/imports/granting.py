"""Who may inspect and test what."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sqlalchemy import bindparam, insert, select, update

from fleet.bolting.parts import Kind
from fleet.desk.imports.piles import only_once, same, shown
from fleet.desk.imports.report import Change
from fleet.desk.imports.work import SHARED
from fleet.records import CompetenceRow
from fleet.records.base import rows_of
from fleet.rules.cells import CellRefused, Field, day, needed, one_of, text
from fleet.rules.competence import check_until, known_task
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.desk.imports.tables import Table
    from fleet.desk.imports.work import Line, Work
    from fleet.lists.rows import AnyRow

_ROWS = rows_of(CompetenceRow)
_CURRENT = select(_ROWS).where(_ROWS.c.ended_at.is_(None))
_END = (
    update(_ROWS)
    .where(_ROWS.c.id == bindparam("number"))
    .values(ended_at=bindparam("now"), end_reason="Renewed.")
)


def take_competences(work: Work, tables: Sequence[Table]) -> None:
    """Competences by person, kind and task; another day or evidence renews one, and ends the earlier."""
    fields = (
        Field("Badge", ("person",), lambda cell, _unit: (work.known.people.find(cell),)),
        needed("Kind", "kind", one_of(Kind)),
        needed("Task", "task", text),
        day("Expires on", "expires_on"),
        needed("Evidence", "evidence", text),
    )
    competences = _Competences(work)
    given = [(line, _key(line)) for line in work.lines(tables, fields)]
    for line, _ in only_once(work, given):
        with work.judging(line):
            competences.take(line)
    competences.write()


def _key(line: Line) -> tuple[int, str, str]:
    return line.values["person"].id, line.values["kind"], line.values["task"].casefold()


class _Competences:
    """The sheet against what is current."""

    def __init__(self, work: Work) -> None:
        self.work = work
        self.kept: dict[tuple[int, str, str], AnyRow] = {
            (row.person_id, row.kind, row.task.casefold()): row for row in work.db.execute(_CURRENT)
        }
        self.new: list[dict[str, Any]] = []
        self.ended: list[int] = []

    def take(self, line: Line) -> None:
        """Judge one row. Raises a refusal."""
        values, before = line.values, self.kept.get(_key(line))
        values["evidence"] = " ".join(values["evidence"].split())
        if before and (before.expires_on, before.evidence) == (values["expires_on"], values["evidence"]):
            self.work.count(line, "unchanged", SHARED)
            return
        row = self._judge(line)
        self.work.allow(SHARED, Role.SAFETY)
        if before:
            self.ended.append(before.id)
        self.new.append(row)
        self.work.count(
            line, "changed" if before else "new", SHARED, self._changes(line, before, row["task"])
        )

    def _judge(self, line: Line) -> dict[str, Any]:
        """The row to write, with its task as it is called on record."""
        values, person = line.values, line.values["person"]
        if person.id == self.work.by.id:
            raise CellRefused(
                "own", f"{person.name} cannot grant a competence to {person.name}; another must.", "Badge"
            )
        # An expired one is a fact of the past and lets nobody do anything; the far future is a slip.
        today = self.work.now.date()
        check_until(max(values["expires_on"], today), today)
        tasks = (one.name for one in self.work.known.tasks if one.kind == values["kind"])
        return {
            "person_id": person.id,
            "kind": values["kind"],
            "task": known_task(values["task"], values["kind"], tasks),
            "expires_on": values["expires_on"],
            "evidence": written_reason(values["evidence"], "the evidence (which certificate or instruction)"),
        }

    def _changes(self, line: Line, before: AnyRow | None, task: str) -> list[Change]:
        """What the day book keeps: who may do what from now on, and what that changes."""
        about = f"{line.values['person'].badge}, {task} on a {line.values['kind']}"
        columns = (("Expires on", "expires_on"), ("Evidence", "evidence"))
        return [
            Change(
                "competences",
                about,
                heading,
                shown(getattr(before, name)) if before else "",
                shown(line.values[name]),
            )
            for heading, name in columns
            if not before or not same(getattr(before, name), line.values[name])
        ]

    def write(self) -> None:
        """End what is renewed, then add; the database allows one current competence for each."""
        now, by = self.work.now, self.work.by.id
        if self.ended:
            self.work.db.execute(_END, [{"number": number, "now": now} for number in self.ended])
        if self.new:
            granted = {"granted_at": now, "granted_by_id": by}
            self.work.db.execute(insert(_ROWS), [row | granted for row in self.new])
