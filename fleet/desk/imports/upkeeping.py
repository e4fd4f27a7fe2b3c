"""Upkeep that was done."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.desk.imports.ledgers import Ledger, entry_fields
from fleet.desk.imports.meters import Meters
from fleet.measures.tags import show_tag
from fleet.records import UpkeepRow
from fleet.rules.cells import CellRefused, Field, count, needed, not_after, text
from fleet.rules.nearest import hint
from fleet.rules.upkeep import CountsFrom

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.desk.imports.known import KnownItem, KnownTask
    from fleet.desk.imports.tables import Table
    from fleet.desk.imports.work import Line, Work

_COMPARED = {
    "item_id": "Tag",
    "task_id": "Task",
    "done_on": "Done on",
    "cycles_at": "Cycles",
    "minutes_at": "Pump minutes",
    "by_id": "By",
    "note": "Note",
}
_METERS = (("cycles_at", "Cycles"), ("minutes_at", "Pump minutes"))


def take_upkeep(work: Work, tables: Sequence[Table]) -> None:
    """Upkeep that was done. A blank meter reading is the item's meter on that day, by its use on record."""
    fields = (
        *entry_fields(work, "Done on", "done_on", "note"),
        needed("Task", "task", text),
        Field("Cycles", ("cycles_at",), count, (None,), keeps=True),
        Field("Pump minutes", ("minutes_at",), count, (None,), keeps=True),
    )
    ledger = Ledger(work, UpkeepRow, _COMPARED)
    lines = ledger.lines(work.lines(tables, fields), _content)
    blank = {line.values["item"].id for line in lines if not all(name in line.values for name, _ in _METERS)}
    meters = Meters(work, blank)
    for line in lines:
        with work.judging(line):
            line.values["item_id"] = line.values["item"].id
            task = _find_task(work, line)
            line.values["task_id"] = task.id
            if ledger.knows(line):
                _same_task(work, ledger, line, task)
                ledger.skip(line)
            else:
                _judge(work, line, task)
                _read_meters(line, meters)
                ledger.add(line, {})
    ledger.write("upkeep done")
    work.due_again |= ledger.touched


def _content(line: Line) -> list[object]:
    """What makes two rows of upkeep the same, however their cells are written."""
    values = line.values
    return [
        values["item"].tag,
        values["task"].casefold(),
        str(values["done_on"]),
        values.get("cycles_at"),
        values.get("minutes_at"),
        line.cell("By").casefold(),
        values.get("note") or "",
    ]


def _find_task(work: Work, line: Line) -> KnownTask:
    item: KnownItem = line.values["item"]
    tasks, asked = work.known.tasks_of(item.model_id), line.values["task"]
    found = tasks.get(asked.casefold())
    if found is None:
        kind = work.known.models_by_id[item.model_id].kind
        near = hint(asked, (task.name for task in tasks.values()))
        sentence = f'{show_tag(item.tag)} ({kind}) has no upkeep task "{asked}".{near}'
        raise CellRefused("unknown", sentence, "Task")
    return found


def _same_task(work: Work, ledger: Ledger, line: Line, task: KnownTask) -> None:
    """A model's own task takes over the history of its kind's task of the same name."""
    kept = ledger.kept.get(line.values["client_id"])
    names = {
        one.id: one.name.casefold() for one in work.known.tasks if one.name.casefold() == task.name.casefold()
    }
    if kept is not None and kept.task_id in names:
        line.values["task_id"] = kept.task_id


def _judge(work: Work, line: Line, task: KnownTask) -> None:
    item: KnownItem = line.values["item"]
    not_after(line.values["done_on"], work.known.sites_by_id[item.site_id].today, "Done on")
    if task.counts_from == CountsFrom.ASSEMBLY:
        raise CellRefused(
            "counts from assembly",
            f"{task.name} counts from assembly and cannot be done again; retire the item and register its "
            "successor.",
            "Task",
        )


def _read_meters(line: Line, meters: Meters) -> None:
    values, item = line.values, line.values["item"]
    then = meters.at(item.id, values["done_on"])
    for (name, column), reading, most in zip(_METERS, then, (item.cycles, item.minutes), strict=True):
        if values.setdefault(name, reading) > most:
            raise CellRefused(
                "above the meter",
                f"{values[name]:,} is more than {show_tag(item.tag)} has on its meter, {most:,}; import its "
                "use first, or check the figure.",
                column,
            )
