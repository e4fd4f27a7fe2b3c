"""Upkeep tasks."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from sqlalchemy import delete, insert, or_, select

from fleet.bolting.parts import Kind
from fleet.desk.imports.piles import Laid, Pile, only_once
from fleet.desk.imports.report import Change
from fleet.desk.imports.work import SHARED
from fleet.records import ItemRow, ModelRow, TaskAfterRepairRow, TaskRow
from fleet.records.base import rows_of
from fleet.rules.cells import CellRefused, Field, at_least_one, count, maybe, needed, one_of, text, usual
from fleet.rules.evidence import Proof, Work
from fleet.rules.register import Role
from fleet.rules.upkeep import CountsFrom, Stop

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from fleet.desk.imports.piles import Judge
    from fleet.desk.imports.tables import Table
    from fleet.desk.imports.work import Line
    from fleet.desk.imports.work import Work as AtWork

_WHO = (Role.KEEPER,)
_HOURS = re.compile(r"(?:0|[1-9][0-9]{0,6})(?:\.[0-9]{1,4})?")
# Hours are written with four decimals at most, which tells whole minutes apart.
_SLACK = 0.01


def _minutes(cell: str, _unit: str | None) -> tuple[int]:
    figures = cell.replace(",", "") if re.fullmatch(r"[1-9][0-9]{0,2}(,[0-9]{3})+", cell) else cell
    if not _HOURS.fullmatch(figures):
        raise CellRefused("not a number", f'"{cell[:40]}" is not a number of hours; write it like 250.')
    minutes = round(float(figures) * 60)
    if minutes < 1 or abs(float(figures) * 60 - minutes) > _SLACK:
        raise CellRefused("not whole minutes", f'"{cell}" hours are not whole minutes; write it like 250.')
    return (minutes,)


def take_tasks(work: AtWork, tables: Sequence[Table]) -> None:
    """Tasks by name and kind, or name and model. Every item they are for gets its due lines worked out."""
    models = work.known.models_by_id
    fields = (
        needed("Task", "name", text),
        needed("Kind", "kind", one_of(Kind)),
        Field(
            "Model",
            ("model_id",),
            lambda cell, _unit: (work.known.models.find(cell).id,),
            (None,),
            show=lambda number: models[number].designation if number else "",
        ),
        maybe("Months", "every_months", at_least_one),
        maybe("Cycles", "every_cycles", at_least_one),
        maybe("Pump hours", "every_minutes", _minutes),
        usual("Counts from", "counts_from", one_of(CountsFrom), CountsFrom.DONE.value),
        usual("Lead days", "lead_days", count, 14),
        usual("Stop", "stop", one_of(Stop), Stop.SOFT.value),
        usual("Proved by", "proved_by", one_of(Proof), Proof.NOTE.value),
        maybe("Again after", "again_after", _repairs),
    )

    def judge(task: Mapping[str, Any], _before: Mapping[str, Any] | None) -> None:
        model = models[task["model_id"]] if task["model_id"] else None
        if model and model.kind != task["kind"]:
            raise CellRefused(
                "other kind", f"{model.designation} is a {model.kind}, not a {task['kind']}.", "Kind"
            )
        if not (task["every_months"] or task["every_cycles"] or task["every_minutes"]):
            raise CellRefused(
                "no clock", "A task needs months, cycles or pump hours, or nobody knows when it is due."
            )

    def key_of(values: Mapping[str, Any]) -> tuple[str, str, int | None]:
        return values["name"].casefold(), values["kind"], values.get("model_id")

    pile = Pile(work, TaskRow, fields, lambda row: (row.name.casefold(), row.kind, row.model_id))
    repairs = _Repairs(work)
    lines = [(line, key_of(line.values)) for line in work.lines(tables, fields)]
    for line, key in only_once(work, lines):
        with work.judging(line):
            about = f"{line.values['name']} of {line.cell('Model') or line.values['kind']}"
            repairs.take(line, pile, Laid(key, about, SHARED, _WHO), judge)
    pile.write("upkeep tasks")
    work.known.forget("tasks", "_tasks_of")
    repairs.write(key_of)
    _due_again(work, [*pile.new, *pile.changed, *repairs.tasks])


def _repairs(cell: str, unit: str | None) -> tuple[tuple[str, ...]]:
    """The repairs of a cell, each once, by name; with a semicolon or comma between them."""
    read = one_of(Work)
    words = [word for word in re.split(r"\s*[;,]\s*", cell.strip()) if word]
    return (tuple(sorted({read(word, unit)[0] for word in words})),)


class _Repairs:
    """Which repair makes which task due again: the second table out of this sheet."""

    def __init__(self, work: AtWork) -> None:
        self.work = work
        self.kept: dict[int, set[str]] = {}
        for row in work.db.execute(select(TaskAfterRepairRow.task_id, TaskAfterRepairRow.work)):
            self.kept.setdefault(row.task_id, set()).add(row.work)
        self.wanted: dict[object, tuple[str, ...]] = {}
        self.tasks: list[dict[str, Any]] = []

    def take(self, line: Line, pile: Pile, place: Laid, judge: Judge) -> None:
        """Judge one row: the task itself, and the repairs after it. Raises a refusal."""
        what, changes = pile.put(line, place, judge)
        kept = pile.kept.get(place.key)
        before = tuple(sorted(self.kept.get(kept.id, ()))) if kept else ()
        after = before if "again_after" not in line.values else line.values["again_after"] or ()
        if after != before:
            self.work.allow(place.chain, *place.roles)
            self.wanted[place.key] = after
            if what != "new":
                old, new = ("; ".join(words) for words in (before, after))
                what, changes = "changed", [*changes, Change("upkeep", place.about, "Again after", old, new)]
        self.work.count(line, what, place.chain, changes)

    def write(self, key_of: Callable[[Mapping[str, Any]], object]) -> None:
        """Write the repairs of each task anew, once the tasks are on record."""
        rows = rows_of(TaskAfterRepairRow)
        for task in self.work.known.tasks:
            values = {"name": task.name, "kind": task.kind, "model_id": task.model_id}
            if (after := self.wanted.get(key_of(values))) is None:
                continue
            self.work.db.execute(delete(rows).where(rows.c.task_id == task.id))
            if after:
                self.work.db.execute(insert(rows), [{"task_id": task.id, "work": one} for one in after])
            self.tasks.append(values)


def _due_again(work: AtWork, tasks: Sequence[Mapping[str, Any]]) -> None:
    kinds = {task["kind"] for task in tasks if task["model_id"] is None}
    models = {task["model_id"] for task in tasks if task["model_id"] is not None}
    if kinds or models:
        concerned = or_(ModelRow.kind.in_(kinds), ModelRow.id.in_(models))
        ids = select(ItemRow.id).join(ModelRow, ModelRow.id == ItemRow.model_id).where(concerned)
        work.due_again.update(work.db.execute(ids).scalars())
