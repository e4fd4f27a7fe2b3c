"""Upkeep tasks."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from sqlalchemy import or_, select

from fleet.bolting.parts import Kind
from fleet.desk.imports.cells import Field, at_least_one, count, maybe, needed, one_of, text, usual
from fleet.desk.imports.piles import Laid, Pile, only_once
from fleet.desk.imports.refusing import CellRefused
from fleet.desk.imports.work import SHARED
from fleet.records import ItemRow, ModelRow, TaskRow
from fleet.rules.register import Role
from fleet.rules.upkeep import CountsFrom, Stop

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.desk.imports.tables import Table
    from fleet.desk.imports.work import Work

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


def take_tasks(work: Work, tables: Sequence[Table]) -> None:
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
    lines = [(line, key_of(line.values)) for line in work.lines(tables, fields)]
    for line, key in only_once(work, lines):
        with work.judging(line):
            about = f"{line.values['name']} of {line.cell('Model') or line.values['kind']}"
            pile.lay(line, Laid(key, about, SHARED, _WHO), judge)
    pile.write("upkeep tasks")
    work.known.forget("tasks", "_tasks_of")
    _due_again(work, [*pile.new, *pile.changed])


def _due_again(work: Work, tasks: Sequence[Mapping[str, Any]]) -> None:
    kinds = {task["kind"] for task in tasks if task["model_id"] is None}
    models = {task["model_id"] for task in tasks if task["model_id"] is not None}
    if kinds or models:
        concerned = or_(ModelRow.kind.in_(kinds), ModelRow.id.in_(models))
        ids = select(ItemRow.id).join(ModelRow, ModelRow.id == ItemRow.model_id).where(concerned)
        work.due_again.update(work.db.execute(ids).scalars())
