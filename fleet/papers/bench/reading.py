"""What people write for a calculation: grades, nuts, rows of numbers, and tables of points."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.bolting.charts import ChartPoint, make_chart
from fleet.bolting.steels import Grade
from fleet.bolting.threads import NutSeries
from fleet.measures.numerals import read_number
from fleet.measures.quantities import Kind, read_measure
from fleet.measures.units import find_unit
from fleet.refusals import Unreadable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.bolting.charts import Chart

_UNIT_IN_HEADING = re.compile(r"(.+?)\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]")
_NUMBER = re.compile(r"[-−+]?[0-9]{1,9}(?:\.[0-9]{1,9})?")
_SIGNED = re.compile(r"([-−+]?)\s*([0-9][0-9.,]*)\s*(\D.*)?")
_NO_UNIT = "(no unit)"


@dataclass(frozen=True, slots=True)
class Table:
    """Headings, the filled rows under them with their row numbers, and what the whole is called."""

    headings: tuple[str, ...]
    rows: Sequence[tuple[int, tuple[str, ...]]]
    name: str


def grade_of(text: str) -> Grade:
    """A grade as people name it: ``B7``, ``A193 B7``, ``ASTM A193 B8 class 2``, ``10.9``."""
    typed = " ".join(re.sub(r"\b(astm|gr\.?|grade|class|cl\.?)\b|[-,]", " ", text.casefold()).split())
    for grade in Grade:
        plain = grade.value.casefold().replace("class ", "")
        if typed in {plain, plain.removeprefix("a193 "), plain.removeprefix("a320 ")}:
            return grade
    known = ", ".join(grade.value for grade in Grade)
    raise Unreadable(f"{text!r} is not a grade of bolting this program knows. Known: {known}.")


def nut_of(text: str) -> NutSeries:
    """A nut series by its name."""
    typed = "-".join(text.casefold().split())
    for series in NutSeries:
        if series.value == typed:
            return series
    raise Unreadable(f"{text!r} is not a nut series. Known: {', '.join(NutSeries)}.")


def numbers(text: str, what: str) -> list[float]:
    """Numbers with commas or gaps between them, such as ``30,60,100`` or ``30 % 60 % 100 %``."""
    parts = re.sub(r"[%,;\s]+", " ", text).split()
    if not parts or not all(_NUMBER.fullmatch(part) for part in parts):
        raise Unreadable(f"{text!r} does not hold {what}: write numbers like 30,60,100.")
    return [float(part.replace("−", "-")) for part in parts]


def signed(text: str) -> tuple[float, str]:
    """A number with or without a unit, below zero too, and the label of its unit."""
    found = _SIGNED.fullmatch(text.strip())
    if not found:
        raise Unreadable(f"{text!r} is not a number; write it like 2031, -0.5 or 2031 N·m.")
    sign, figure, written = found.groups()
    unit = find_unit(written) if written else None
    if written and unit is None:
        raise Unreadable(f'"{written}" in {text!r} is not a known unit; leave it out, or write one like N·m.')
    label = unit.label if unit else ""
    value = read_number(figure, label or _NO_UNIT, example="2031")
    return (-value if sign in ("-", "−") else value), label


def chart_of_table(table: Table) -> Chart:
    """A chart of a table with the columns Pressure and Torque, their units in the cells or the headings."""
    pressure_at, pressure_unit = _column(table, "pressure")
    torque_at, torque_unit = _column(table, "torque")
    points = []
    for number, cells in table.rows:
        try:
            point = ChartPoint(
                read_measure(cells[pressure_at], Kind.PRESSURE, unit=pressure_unit).base,
                read_measure(cells[torque_at], Kind.TORQUE, unit=torque_unit).base,
            )
        except (Unreadable, IndexError) as refused:
            why = str(refused) if isinstance(refused, Unreadable) else "a cell is missing."
            raise Unreadable(f"{table.name}, row {number}: {why}") from None
        points.append(point)
    return make_chart(points, table.name)


def _column(table: Table, wanted: str) -> tuple[int, str | None]:
    """Where a column stands, and the unit in its heading."""
    for at, heading in enumerate(table.headings):
        with_unit = _UNIT_IN_HEADING.fullmatch(heading)
        plain = (with_unit[1] if with_unit else heading).strip().casefold()
        if plain == wanted:
            unit = with_unit[2] if with_unit else None
            known = find_unit(unit) if unit else None
            if unit and (known is None or known.kind != wanted):
                raise Unreadable(f"{table.name}: {unit!r} in the heading {heading!r} is no unit of {wanted}.")
            return at, unit
    raise Unreadable(
        f"{table.name} has no column {wanted.capitalize()}: the first row must hold the headings Pressure "
        "and Torque, with the unit in brackets, as in Pressure (psi), or beside each number."
    )


def pairs_of_table(table: Table) -> tuple[list[float], list[float]]:
    """The first two columns as plain numbers."""
    if len(table.headings) < 2:  # noqa: PLR2004  A pair.
        raise Unreadable(f"{table.name} needs two columns with headings: what was set and what was found.")
    pairs = []
    for number, cells in table.rows:
        try:
            pairs.append((signed(cells[0])[0], signed(cells[1])[0]))
        except (Unreadable, IndexError) as refused:
            why = str(refused) if isinstance(refused, Unreadable) else "a cell is missing."
            raise Unreadable(f"{table.name}, row {number}: {why}") from None
    return [x for x, _ in pairs], [y for _, y in pairs]


def filled(headings: tuple[str, ...], rows: Sequence[tuple[int, tuple[str, ...]]], name: str) -> Table:
    """A table without its empty rows; refused when nothing is left."""
    kept = [(number, cells) for number, cells in rows if any(cells)]
    if not kept:
        raise Unreadable(f"{name} has a row of headings and no points under it.")
    return Table(headings, kept, name)
