"""The pieces of the scenario as its sheets describe them, and what may be done with them on a day.

Days are counted from the chosen day, which is 0.
"""

# ruff: noqa: INP001

from __future__ import annotations

import csv
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

from stories import LAST_DONE, METERS

HERE = Path(__file__).parent
DAYS_IN_MONTH = 30.4
MPA = {"psi": 0.006894757, "bar": 0.1, "MPa": 1.0}
NEWTON_METRES = {"lbf·ft": 1.35582, "N·m": 1.0, "kN·m": 1000.0, "kgf·m": 9.80665}


@dataclass
class Task:
    """How often something must be done."""

    name: str
    days: float | None
    cycles: int | None
    minutes: int | None


@dataclass
class Item:
    """One piece, what it went through, and when it is away."""

    tag: str
    model: str
    kind: str
    site: str
    received: int
    retired: int
    expires: float
    tasks: list[Task]
    away: list[tuple[int, int]] = field(default_factory=list)
    uses: list[list[object]] = field(default_factory=list)
    done: dict[str, list[tuple[int, str]]] = field(default_factory=lambda: defaultdict(list))
    cycles: int = 0
    minutes: int = 0
    marks: dict[str, tuple[int, int]] = field(default_factory=dict)

    def free(self, first: int, last: int) -> bool:
        """Whether it is in the room, whole and in date from the first day to the last."""
        here = self.received < first and last < min(self.retired, self.expires)
        return here and not any(a <= last and first <= b for a, b in self.away)

    def due_in(self, task: Task, day: int) -> float:
        """Days until the task is due; 0 when its meter is nearly used up."""
        before, minutes = self.marks[task.name]
        if task.cycles and self.cycles - before > 0.75 * task.cycles:
            return 0
        if task.minutes and self.minutes - minutes > 0.75 * task.minutes:
            return 0
        return self.done[task.name][-1][0] + task.days - day if task.days else 9999

    def lasts(self, task: Task, first: int, last: int) -> bool:
        """Whether the task stays good through a job of these days, by calendar and by what jobs use."""
        if self.done[task.name][-1][0] + (task.days or 9999) <= last + 3:
            return False
        if self.tag in METERS and self.settled(task.name, first):
            return True
        days, (cycles, minutes) = last - first + 1, self.marks[task.name]
        enough = not task.cycles or self.cycles - cycles + 125 * days < task.cycles
        return enough and (not task.minutes or self.minutes - minutes + 155 * days < task.minutes)

    def settled(self, task: str, day: int) -> bool:
        """Whether a story has the last word on this task at this time."""
        since = LAST_DONE.get((self.tag, task))
        meter = METERS.get(self.tag)
        if meter and meter[1] == task:
            since = meter[0]
        return since is not None and day > since - 90


def sheet(name: str) -> list[dict[str, str]]:
    """The rows of one sheet."""
    with (HERE / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def day_of(text: str, otherwise: int = 0) -> int:
    """``D-412`` as -412, ``D`` as 0."""
    return int(text[1:] or 0) if text else otherwise


def number(text: str, units: dict[str, float]) -> float:
    """The first measure of a text, in base units: the higher mark of a dual one is never far off."""
    figure, unit = text.split(" / ", maxsplit=1)[0].rsplit(" ", 1)
    return float(figure.replace(",", "")) * units[unit]


def relative(day: object) -> str:
    """-412 as ``D-412``; nothing stays nothing."""
    return f"D{day:+d}" if isinstance(day, int) else ""


def write(name: str, heading: str, rows: list[list[object]]) -> None:
    """One sheet."""
    with (HERE / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(heading.split("|"))
        writer.writerows(rows)
