"""Which sheet a table is, by its headings.

Case, spaces and punctuation do not count, and a unit in brackets at the end serves the column's bare numbers.
A heading that is not known is a fault of the whole table: leaving a column out silently would be a lie.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from fleet.measures.units import find_unit
from fleet.rules.nearest import hint
from fleet.rules.sheets import SHEETS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.rules.columns import Column, Sheet

REFUSED = "Refused because"
"""Heads the column that a file of refused rows has behind its own; it is not read again."""

_WITH_UNIT = re.compile(r"(.+?)\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]")
_ORDER_BEFORE_NAME = re.compile(r"^[0-9]+")


@dataclass(frozen=True, slots=True)
class Place:
    """Where a column stands in a table (counted from 0), and the unit of its bare numbers."""

    at: int
    column: Column
    unit: str | None


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with the headings: the heading, a short name of the rule, and the sentence."""

    heading: str
    rule: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Recognised:
    """The sheet a table is taken for, and its columns by their own heading; with faults it is not read."""

    sheet: Sheet | None
    places: Mapping[str, Place]
    faults: tuple[Fault, ...]


def plain(text: str) -> str:
    """Answer letters and figures only, in one case: the form in which two headings are the same."""
    return "".join(char for char in text.casefold() if char.isalnum())


_REFUSED = plain(REFUSED)


def recognise(headings: Sequence[str | None], name: str) -> Recognised:
    """Find the sheet whose headings these are; ``name`` of the file or worksheet decides between equals.

    A blank heading is a fault; None stands for a gap between columns.
    """
    read = [_read(sheet, headings) for sheet in SHEETS]
    named = _ORDER_BEFORE_NAME.sub("", plain(name))
    fitting = [one for one in read if not one.faults]
    if len(fitting) > 1:
        fitting = [one for one in fitting if one.sheet and plain(one.sheet.name) == named] or fitting
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        names = " or ".join(one.sheet.name for one in fitting if one.sheet)
        sentence = f"The headings fit the sheets {names}; name the file or worksheet after the one it is."
        return Recognised(None, {}, (Fault("", "headings", sentence),))
    return _nearest(read, named)


def _nearest(read: Sequence[Recognised], named: str) -> Recognised:
    """Answer the sheet that was probably meant, with its faults: by name, else by most headings known."""
    for one in read:
        if one.sheet and plain(one.sheet.name) == named:
            return one
    best = max(read, key=lambda one: (len(one.places), -len(one.faults)))
    if len(best.places) > 1:
        return best
    names = ", ".join(sheet.name for sheet in SHEETS)
    sentence = f"The headings fit none of the sheets {names}; the first row must hold the headings of one."
    return Recognised(None, {}, (Fault("", "headings", sentence),))


def _read(sheet: Sheet, headings: Sequence[str | None]) -> Recognised:
    places: dict[str, Place] = {}
    faults = []
    for at, heading in enumerate(headings):
        if heading is None or plain(heading) == _REFUSED:
            continue
        found = _column(sheet, heading)
        if isinstance(found, str):
            faults.append(Fault(heading, "unknown heading", found))
        elif found[0].heading in places:
            first = headings[places[found[0].heading].at]
            sentence = f'The headings "{first}" and "{heading}" are the same column; leave one of them.'
            faults.append(Fault(heading, "heading twice", sentence))
        else:
            places[found[0].heading] = Place(at, found[0], found[1])
    faults.extend(_missing(sheet, places))
    if "Maximum working pressure" in places and sheet.name == "models":
        faults.extend(_served_twice(places, headings))
    return Recognised(sheet, places, tuple(faults))


def _missing(sheet: Sheet, places: Mapping[str, Place]) -> list[Fault]:
    missing = [column.heading for column in sheet.columns if column.needed and column.heading not in places]
    sentence = "The sheet {} needs a column {}, and there is none."
    return [Fault(one, "heading missing", sentence.format(sheet.name, one)) for one in missing]


def _served_twice(places: Mapping[str, Place], headings: Sequence[str | None]) -> list[Fault]:
    sides = ("Maximum working pressure advance", "Maximum working pressure retract")
    return [
        Fault(
            headings[places[side].at] or "",
            "heading twice",
            f'"Maximum working pressure" serves both lines, so "{side}" cannot stand beside it; '
            "give one column for both, or one for each.",
        )
        for side in sides
        if side in places
    ]


def _column(sheet: Sheet, heading: str) -> tuple[Column, str | None] | str:
    """Answer the column and the unit in its heading, or a sentence why there is none."""
    known = _spellings(sheet)
    if not heading:
        return "A column has cells but no heading; give it one, or clear its cells."
    if column := known.get(plain(heading)):
        return column, None
    with_unit = _WITH_UNIT.fullmatch(heading)
    column = known.get(plain(with_unit[1])) if with_unit else None
    if not with_unit or not column:
        near = hint(heading, [column.heading for column in sheet.columns])
        return f'"{heading}" is not a heading of the sheet {sheet.name}.{near}'
    unit = find_unit(with_unit[2])
    if unit is None or column.measures is None or unit.kind is not column.measures:
        wanted = f"a unit of {column.measures}" if column.measures else "no unit"
        return f'"{heading}" has "{with_unit[2]}" in brackets, but {column.heading} takes {wanted} there.'
    return column, unit.label


@cache
def _spellings(sheet: Sheet) -> Mapping[str, Column]:
    known = {plain(spelt): column for column in sheet.columns for spelt in column.also}
    return known | {plain(column.heading): column for column in sheet.columns}
