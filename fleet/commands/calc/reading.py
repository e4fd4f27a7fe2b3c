"""What people type for a calculation: measures, threads, grades, and files of points."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.refusals import Unreadable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.bolting.charts import Chart
    from fleet.bolting.figures import Units
    from fleet.bolting.steels import Grade
    from fleet.bolting.threads import NutSeries

Points = Annotated[
    Path | None, typer.Option("--points", help="CSV or XLSX file with a column of pressures and of torques.")
]
Model = Annotated[str | None, typer.Option("--model", "-m", help="A model in the register.")]
Item = Annotated[str | None, typer.Option("--item", "-i", help="Tag of a wrench in the register.")]
Torque = Annotated[str | None, typer.Option("--torque", "-t", help='"1400 lbf·ft", "1900 N·m".')]
GaugeTag = Annotated[str | None, typer.Option("--gauge", "-g", help="Tag of a gauge in the register.")]
Graduation = Annotated[
    str | None, typer.Option("--graduation", help='What the gauge can show: "20 bar", "200 psi".')
]

_UNIT_IN_HEADING = re.compile(r"(.+?)\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]")
_NUMBER = re.compile(r"[-−+]?[0-9]{1,9}(?:\.[0-9]{1,9})?")
_SIGNED = re.compile(r"([-−+]?)\s*([0-9][0-9.,]*)\s*(\D.*)?")


def measure(text: str, kind: str, *, unit: str | None = None) -> float:
    """A measure in the base unit of its kind; ``kind`` is pressure, torque, force or length."""
    from fleet.measures.quantities import Kind, read_measure

    return read_measure(text, Kind(kind), unit=unit).base


def units_of(text: str, kind: str) -> Units:
    """The units in which a refusal is written: that in which the question was asked."""
    from fleet.bolting.figures import Units
    from fleet.measures.quantities import Kind, read_measure

    return Units(**{kind: read_measure(text, Kind(kind)).unit})


def only_one(what: str, **given: object) -> str:
    """The name of the one option that was given; refused when it is none or several."""
    names = {name: f"--{name.replace('_', '-')}" for name in given}
    chosen = [name for name, value in given.items() if value is not None]
    if len(chosen) != 1:
        wanted = ", ".join(list(names.values())[:-1]) + f" or {list(names.values())[-1]}"
        excess = f", not {' and '.join(names[name] for name in chosen)} together" if chosen else ""
        raise Unreadable(f"Give {what} by one of {wanted}{excess}.")
    return chosen[0]


def grade_of(text: str) -> Grade:
    """A grade as people name it: ``B7``, ``A193 B7``, ``ASTM A193 B8 class 2``, ``10.9``."""
    from fleet.bolting.steels import Grade

    typed = " ".join(re.sub(r"\b(astm|gr\.?|grade|class|cl\.?)\b|[-,]", " ", text.casefold()).split())
    for grade in Grade:
        plain = grade.value.casefold().replace("class ", "")
        if typed in {plain, plain.removeprefix("a193 "), plain.removeprefix("a320 ")}:
            return grade
    known = ", ".join(grade.value for grade in Grade)
    raise Unreadable(f"{text!r} is not a grade of bolting this program knows. Known: {known}.")


def nut_of(text: str) -> NutSeries:
    """A nut series by its name."""
    from fleet.bolting.threads import NutSeries

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
    from fleet.measures.numerals import read_number
    from fleet.measures.units import find_unit

    found = _SIGNED.fullmatch(text.strip())
    if not found:
        raise Unreadable(f"{text!r} is not a number; write it like 2031, -0.5 or 2031 N·m.")
    sign, figure, written = found.groups()
    unit = find_unit(written) if written else None
    if written and unit is None:
        raise Unreadable(f'"{written}" in {text!r} is not a known unit; leave it out, or write one like N·m.')
    label = unit.label if unit else ""
    value = read_number(figure, label or "(no unit)", example="2031")
    return (-value if sign in ("-", "−") else value), label


def table_of(path: Path) -> tuple[tuple[str, ...], list[tuple[int, tuple[str, ...]]], str]:
    """The headings and the filled rows of a file of points, with their row numbers, and its name."""
    from fleet.commands.transfer import read_files

    read = read_files([path])[0]
    table = read.tables[0]
    rows = [(number, cells) for number, cells in table.rows if any(cells)]
    if not rows:
        raise Unreadable(f"{read.name} has a row of headings and no points under it.")
    return table.headings, rows, read.name


def chart_of_file(path: Path) -> Chart:
    """A chart of a file with the columns Pressure and Torque, their units in the cells or the headings."""
    from fleet.bolting.charts import ChartPoint, make_chart

    headings, rows, name = table_of(path)
    pressure_at, pressure_unit = _column(headings, "pressure", name)
    torque_at, torque_unit = _column(headings, "torque", name)
    points = []
    for number, cells in rows:
        try:
            point = ChartPoint(
                measure(cells[pressure_at], "pressure", unit=pressure_unit),
                measure(cells[torque_at], "torque", unit=torque_unit),
            )
        except (Unreadable, IndexError) as refused:
            why = str(refused) if isinstance(refused, Unreadable) else "a cell is missing."
            raise Unreadable(f"{name}, row {number}: {why}") from None
        points.append(point)
    return make_chart(points, name)


def _column(headings: Sequence[str], wanted: str, name: str) -> tuple[int, str | None]:
    """Where a column stands, and the unit in its heading."""
    from fleet.measures.units import find_unit

    for at, heading in enumerate(headings):
        with_unit = _UNIT_IN_HEADING.fullmatch(heading)
        plain = (with_unit[1] if with_unit else heading).strip().casefold()
        if plain == wanted:
            unit = with_unit[2] if with_unit else None
            known = find_unit(unit) if unit else None
            if unit and (known is None or known.kind != wanted):
                raise Unreadable(f"{name}: {unit!r} in the heading {heading!r} is no unit of {wanted}.")
            return at, unit
    raise Unreadable(
        f"{name} has no column {wanted.capitalize()}: the first row must hold the headings Pressure and "
        "Torque, with the unit in brackets, as in Pressure (psi), or beside each number."
    )


def pairs_of_file(path: Path) -> tuple[list[float], list[float], str]:
    """The first two columns of a file as plain numbers, and its name."""
    headings, rows, name = table_of(path)
    if len(headings) < 2:  # noqa: PLR2004  A pair.
        raise Unreadable(f"{name} needs two columns with headings: what was set and what was found.")
    pairs = []
    for number, cells in rows:
        try:
            pairs.append((signed(cells[0])[0], signed(cells[1])[0]))
        except Unreadable as refused:
            raise Unreadable(f"{name}, row {number}: {refused}") from None
    return [x for x, _ in pairs], [y for _, y in pairs], name
