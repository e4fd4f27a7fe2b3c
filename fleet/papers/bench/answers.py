"""What a calculation answers: figures, what was assumed, where the formula is from, what to beware of."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fleet.bolting.figures import MM_PER_INCH, shown
from fleet.measures.quantities import Kind, Rounding

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


@dataclass(frozen=True, slots=True)
class Grid:
    """A table under the facts."""

    columns: Sequence[str]
    rows: Sequence[Sequence[object]]
    title: str = ""


@dataclass(frozen=True, slots=True)
class Curve:
    """What may be drawn as lines through points, each line with its name, in the units of the labels."""

    title: str
    across: str
    up: str
    lines: Sequence[tuple[str, Sequence[tuple[float, float]]]]
    limits: Sequence[tuple[float, str]] = ()


@dataclass(frozen=True, slots=True)
class Bars:
    """What may be drawn as bars: shares of a whole in per cent."""

    title: str
    rows: Sequence[tuple[str, float]]


@dataclass(frozen=True, slots=True)
class Answer:
    """The figures for programs, by keys that carry their unit, and the same for people."""

    values: Mapping[str, object]
    facts: Mapping[str, object]
    source: str
    assumptions: Sequence[str]
    cautions: Sequence[str]
    grids: Sequence[Grid] = field(default=())
    findings: Sequence[str] = field(default=())
    """What speaks against it, under the tables."""
    curve: Curve | None = None
    bars: Bars | None = None


def stress(mpa: float | None) -> str:
    """A stress in both unit systems."""
    return _both(mpa, Kind.PRESSURE, ("MPa", "ksi"))


def force(newtons: float | None) -> str:
    """A force in both unit systems."""
    return _both(newtons, Kind.FORCE, ("kN", "lbf"))


def length(mm: float | None) -> str:
    """A length in both unit systems."""
    return _both(mm, Kind.LENGTH, ("mm", "in"))


def area(mm2: float) -> str:
    """An area in both unit systems."""
    return f"{mm2:,.5g} mm² ({mm2 / MM_PER_INCH**2:,.4g} in²)"


def _both(value: float | None, kind: Kind, units: tuple[str, str]) -> str:
    if value is None:
        return ""
    one, other = (shown(value, kind, unit, Rounding.NEAREST) for unit in units)
    return f"{one} ({other})"
