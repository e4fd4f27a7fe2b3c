"""Points of a certificate as a keeper writes them down: in a CSV file, or one by one.

Nothing is guessed: every cell has a unit, beside its number or in the heading, and what cannot be read
refuses the whole file with the row that is at fault.
"""

import codecs
import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fleet.bolting.parts import Kind
from fleet.measures.quantities import Kind as Measured
from fleet.measures.quantities import read_measure
from fleet.refusals import Unreadable
from fleet.rules.certificates import Reading
from fleet.rules.evidence import Stage

MOST_BYTES = 5_000_000
MOST_POINTS = 500

_STAGES = {
    "asfound": Stage.AS_FOUND,
    "found": Stage.AS_FOUND,
    "beforeadjustment": Stage.AS_FOUND,
    "asleft": Stage.AS_LEFT,
    "left": Stage.AS_LEFT,
    "afteradjustment": Stage.AS_LEFT,
}
_STAGE, _AT, _FOUND, _EXPANDED = "stage", "pressure", "found", "expanded"
_HEADINGS = {
    "stage": _STAGE,
    "pressure": _AT,
    "setpressure": _AT,
    "appliedpressure": _AT,
    "torque": _FOUND,
    "torquefound": _FOUND,
    "reading": _FOUND,
    "gaugereading": _FOUND,
    "expandeduncertainty": _EXPANDED,
    "uncertainty": _EXPANDED,
    "u": _EXPANDED,
}
_WITH_UNIT = re.compile(r"(.+?)\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]")
_PERCENT = re.compile(r"([0-9]+(?:\.[0-9]+)?) ?%")
_HEADING_HINT = "stage, pressure, torque (of a gauge: reading) and expanded uncertainty"


def stage_named(text: str) -> Stage | None:
    """The stage that a text names, whatever its case and spacing, or nothing."""
    return _STAGES.get(_plain(text))


def decoded(content: bytes, what: str = "The file") -> str:
    """A text file in UTF-8, or in UTF-16 that says so itself; raises ``Unreadable`` for anything else."""
    if not content.strip():
        raise Unreadable(f"{what} is empty.")
    if len(content) > MOST_BYTES:
        raise Unreadable(f"{what} has {len(content):,} bytes; at most {MOST_BYTES:,} are read.")
    wide = content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    try:
        text = content.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError:
        raise Unreadable(
            f'{what} is not written in UTF-8; save it as "CSV UTF-8" in the spreadsheet program.'
        ) from None
    if "\0" in text:
        raise Unreadable(f"{what} is not a text file: it holds zero bytes.")
    return text


@dataclass(frozen=True, slots=True)
class _Column:
    at: int
    unit: str | None


def read_points(content: bytes, kind: str) -> tuple[Reading, ...]:
    """Read a CSV file of points with commas, semicolons or tabs; ``kind`` is that of the item.

    Raises ``Unreadable`` for a heading, a row or a cell that cannot be read without guessing.
    """
    rows = list(_rows(decoded(content)))
    if not rows:
        raise Unreadable("The file is empty.")
    (_, headings), *points = rows
    columns = _columns(headings)
    if len(points) > MOST_POINTS:
        raise Unreadable(f"The file has {len(points):,} points; at most {MOST_POINTS} are read.")
    return tuple(_row(number, cells, columns, kind) for number, cells in points)


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    first = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        for number, cells in enumerate(reader, start=1):
            if any(cell.strip() for cell in cells):
                yield number, [cell.strip() for cell in cells]
    except csv.Error as error:
        raise Unreadable(f"Line {reader.line_num} of the file cannot be read as CSV: {error}.") from None


def _plain(text: str) -> str:
    return "".join(char for char in text.casefold() if char.isalnum())


def _columns(headings: Sequence[str]) -> dict[str, _Column]:
    columns: dict[str, _Column] = {}
    for at, heading in enumerate(headings):
        with_unit = _WITH_UNIT.fullmatch(heading)
        name = _HEADINGS.get(_plain(with_unit[1] if with_unit else heading))
        if name is None:
            raise Unreadable(f"The heading {heading!r} is not known here: write {_HEADING_HINT}.")
        if name in columns:
            raise Unreadable(f"Two headings mean the same column ({heading!r}): write {_HEADING_HINT}.")
        columns[name] = _Column(at, with_unit[2] if with_unit else None)
    missing = [name for name in (_STAGE, _AT, _FOUND) if name not in columns]
    if missing:
        raise Unreadable(f"The file lacks a column: write {_HEADING_HINT}.")
    return columns


def _row(number: int, cells: Sequence[str], columns: dict[str, _Column], kind: str) -> Reading:
    if len(cells) > len(columns):
        raise Unreadable(f"Row {number} has more cells than there are headings.")
    found = {
        name: (cells[column.at] if column.at < len(cells) else "", column.unit)
        for name, column in columns.items()
    }
    try:
        return _reading(found, kind)
    except Unreadable as refusal:
        raise Unreadable(f"Row {number}: {refusal}") from refusal


def read_point(text: str, kind: str) -> Reading:
    """Read one point as typed: ``as found; 200 bar; 590 N·m; 6 N·m``, the uncertainty last and optional."""
    parts = [part.strip() for part in text.split(";")]
    if len(parts) not in (3, 4):
        raise Unreadable(
            f"{text!r} is not a point: write stage; pressure; torque or reading; expanded uncertainty, as in "
            "'as found; 200 bar; 590 N·m; 6 N·m'."
        )
    return _reading({name: (part, None) for name, part in zip(_ORDER, parts, strict=False)}, kind)


_ORDER = (_STAGE, _AT, _FOUND, _EXPANDED)


def _reading(found: dict[str, tuple[str, str | None]], kind: str) -> Reading:
    stage = stage_named(found[_STAGE][0])
    if stage is None:
        raise Unreadable(f"{found[_STAGE][0]!r} is no stage: write as found or as left.")
    measures = Measured.TORQUE if kind == Kind.WRENCH else Measured.PRESSURE
    at = read_measure(found[_AT][0], Measured.PRESSURE, unit=found[_AT][1])
    value = read_measure(found[_FOUND][0], measures, unit=found[_FOUND][1])
    text, unit = found.get(_EXPANDED, ("", None))
    expanded = _expanded(text, unit, measures, value.base) if text else None
    return Reading(stage, at.written, at.base, value.written, value.base, expanded)


def _expanded(text: str, unit: str | None, measures: Measured, value: float) -> float:
    """An uncertainty in the unit of the value, or in percent of it."""
    percent = _PERCENT.fullmatch(f"{text} %" if unit == "%" and not text.endswith("%") else text)
    if percent:
        return float(percent[1]) / 100 * value
    return read_measure(text, measures, unit=None if unit == "%" else unit).base
