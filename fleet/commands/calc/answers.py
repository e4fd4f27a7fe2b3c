"""What a calculation answers, and its one printout: figures, what was assumed, where the formula is from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import typer

from fleet.commands.printing import print_cautions, print_facts, print_json, print_line, print_table

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence


@dataclass(frozen=True, slots=True)
class Grid:
    """A table under the facts."""

    columns: Sequence[str]
    rows: Sequence[Sequence[object]]
    title: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """The figures for programs, by keys that carry their unit, and the same for people."""

    values: Mapping[str, object]
    facts: Mapping[str, object]
    source: str
    assumptions: Sequence[str]
    cautions: Sequence[str]
    grids: Sequence[Grid] = field(default=())


def give(answer: Answer, *, as_json: bool, between: Callable[[], None] | None = None) -> None:
    """Print an answer; ``between`` prints what else stands under the facts."""
    if as_json:
        said = {"assumptions": answer.assumptions, "source": answer.source, "cautions": answer.cautions}
        print_json({**answer.values, **said})
        return
    print_facts(answer.facts, fit=True)
    if between:
        between()
    for grid in answer.grids:
        print_table(grid.columns, grid.rows, title=grid.title, fit=True)
    if answer.assumptions:
        typer.echo("Assumed")
    for sentence in answer.assumptions:
        print_line(f"  - {sentence}", hang=4, fit=True)
    print_line(f"Source: {answer.source}", hang=2, fit=True)
    print_cautions(answer.cautions)


def torque(nm: float | None, rounding: str = "NEAREST") -> str:
    """A torque in both unit systems of the trade; ``rounding`` is UP for a demand, DOWN for what is given."""
    return _both(nm, "TORQUE", ("N·m", "lbf·ft"), rounding)


def pressure(mpa: float | None, rounding: str = "NEAREST") -> str:
    """A pressure in both unit systems of the trade; ``rounding`` is DOWN for a rating."""
    return _both(mpa, "PRESSURE", ("bar", "psi"), rounding)


def stress(mpa: float | None) -> str:
    """A stress in both unit systems."""
    return _both(mpa, "PRESSURE", ("MPa", "ksi"), "NEAREST")


def force(newtons: float | None) -> str:
    """A force in both unit systems."""
    return _both(newtons, "FORCE", ("kN", "lbf"), "NEAREST")


def length(mm: float | None) -> str:
    """A length in both unit systems."""
    return _both(mm, "LENGTH", ("mm", "in"), "NEAREST")


def area(mm2: float) -> str:
    """An area in both unit systems."""
    from fleet.bolting.figures import MM_PER_INCH

    return f"{mm2:,.5g} mm² ({mm2 / MM_PER_INCH**2:,.4g} in²)"


def _both(value: float | None, kind: str, units: tuple[str, str], rounding: str) -> str:
    from fleet.bolting.figures import shown
    from fleet.measures.quantities import Kind, Rounding

    if value is None:
        return ""
    one, other = (shown(value, Kind[kind], unit, Rounding[rounding]) for unit in units)
    return f"{one} ({other})"
