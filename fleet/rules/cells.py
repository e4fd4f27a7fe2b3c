"""From the text of a cell or a field to what is kept, without guessing: a reader answers some values."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fleet.measures.quantities import Kind, read_measure, read_rating
from fleet.measures.times import read_day, read_instant, read_moment
from fleet.refusals import Refusal
from fleet.rules.nearest import hint

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from datetime import date, datetime
    from enum import StrEnum
    from zoneinfo import ZoneInfo

    Read = Callable[[str, str | None], tuple[Any, ...]]

_LONGEST = 4_000
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_COUNT = re.compile(r"(?:0|[1-9][0-9]*|[1-9][0-9]{0,2}(?:,[0-9]{3})+)")
_DECIMAL = re.compile(r"(?:0|[1-9][0-9]*)(?:\.[0-9]+)?")
# A meter that shows more than this was misread.
MOST_COUNT = 1_000_000_000
_YES = ("yes", "y", "true", "x", "1")
_NO = ("no", "n", "false", "0")


class CellRefused(Refusal):
    """A cell, or a whole row: a short name of the rule, the sentence, and the column of a faulty cell."""

    def __init__(self, rule: str, sentence: str, column: str = "") -> None:
        super().__init__(sentence)
        self.rule = rule
        self.column = column


@dataclass(frozen=True, slots=True)
class Field:
    """How one column is read: its heading, the columns it fills, and its reader.

    ``empty`` fills a new record when the cell is blank; without it the cell must not be blank. A column that
    ``keeps`` leaves what is on record when its cell is blank, because blank there means "as usual".
    """

    heading: str
    into: tuple[str, ...]
    read: Read
    empty: tuple[Any, ...] | None = None
    keeps: bool = False
    show: Callable[[Any], str] | None = None
    dated: bool = False


def needed(heading: str, into: str, read: Read, *, show: Callable[[Any], str] | None = None) -> Field:
    """A column whose cells must not be blank."""
    return Field(heading, (into,), read, show=show)


def maybe(heading: str, into: str, read: Read, *, show: Callable[[Any], str] | None = None) -> Field:
    """A column whose blank cells mean that nothing is known."""
    return Field(heading, (into,), read, empty=(None,), show=show)


def usual(heading: str, into: str, read: Read, value: object) -> Field:
    """A column whose blank cells mean the usual: for a new record ``value``, else what is on record."""
    return Field(heading, (into,), read, empty=(value,), keeps=True)


def day(heading: str, into: str, *, may_be_blank: bool = False) -> Field:
    """A column of days."""
    empty = (None,) if may_be_blank else None
    return Field(heading, (into,), lambda text, _unit: (read_day(text),), empty=empty, dated=True)


def moment(heading: str, into: str, *, may_be_blank: bool = False) -> Field:
    """A column of days or times at the row's site, which is only known once the row is read."""
    return Field(heading, (into,), text, empty=(None,) if may_be_blank else None, dated=True)


def measured(heading: str, kind: Kind, *into: str) -> Field:
    """A column of measures, which may be blank: as written, and its value in base units."""
    return Field(heading, into, _positive(kind), empty=(None,) * len(into))


def rated(heading: str, *into: str) -> Field:
    """A column of pressure marks, which may be blank: as written, and its value in MPa; for every line."""
    return Field(heading, into, _marks(len(into) // 2), empty=(None,) * len(into))


def read_all(fields: Iterable[Field], cells: Mapping[str, str]) -> dict[str, Any]:
    """What was typed by hand, by heading, as the record keeps it. Raises a refusal that names the heading."""
    values: dict[str, Any] = {}
    for one in fields:
        cell = " ".join(cells.get(one.heading, "").split())
        if cell:
            try:
                values |= dict(zip(one.into, one.read(cell, None), strict=True))
            except Refusal as refusal:
                rule = refusal.rule if isinstance(refusal, CellRefused) else "unreadable"
                raise CellRefused(rule, f"{one.heading}: {refusal}", one.heading) from refusal
        elif one.empty is None:
            raise CellRefused("missing", f"{one.heading} must not be left empty.", one.heading)
        else:
            values |= dict(zip(one.into, one.empty, strict=True))
    return values


def text(cell: str, _unit: str | None) -> tuple[str]:
    """Text as it stands, without control characters."""
    if len(cell) > _LONGEST:
        raise CellRefused(
            "too long", f"This text has {len(cell):,} characters; at most {_LONGEST:,} are kept."
        )
    if found := _CONTROL.search(cell):
        raise CellRefused(
            "control character",
            f"This text holds an invisible control character (U+{ord(found[0]):04X}); type it again.",
        )
    return (cell,)


def _positive(kind: Kind) -> Read:
    def read(cell: str, unit: str | None) -> tuple[str, float]:
        measure = read_measure(cell, kind, unit=unit)
        if measure.base <= 0:
            raise CellRefused("not above zero", f'"{measure.written}" must be above zero.')
        return measure.written, measure.base

    return read


def _marks(lines: int) -> Read:
    def read(cell: str, unit: str | None) -> tuple[str | float, ...]:
        rating = read_rating(cell, unit=unit)
        return (rating.written, rating.mpa) * lines

    return read


def count(cell: str, _unit: str | None) -> tuple[int]:
    """A whole number from 0 up."""
    if not _COUNT.fullmatch(cell) or int(cell.replace(",", "")) > MOST_COUNT:
        raise CellRefused("not a count", f'"{cell[:40]}" is not a whole number; write it like 1200.')
    return (int(cell.replace(",", "")),)


def at_least_one(cell: str, unit: str | None) -> tuple[int]:
    """A whole number from 1 up."""
    found = count(cell, unit)
    if found == (0,):
        raise CellRefused("not above zero", "This must be at least 1; leave the cell blank if there is none.")
    return found


def signed_count(cell: str, unit: str | None) -> tuple[int]:
    """A whole number, with a minus sign before it when it takes something back."""
    return (-count(cell[1:], unit)[0],) if cell[:1] in ("-", "\N{MINUS SIGN}") else count(cell, unit)


def decimal(least: float, most: float, *, after: str = "") -> Read:
    """A number in [least, most] that is above zero; ``after`` may stand behind it, such as a % sign."""

    def read(cell: str, _unit: str | None) -> tuple[float]:
        figure = cell.removesuffix(after).strip()
        if not _DECIMAL.fullmatch(figure) or not least <= float(figure) <= most or float(figure) <= 0:
            raise CellRefused(
                "not a number", f'"{cell[:40]}" is not a number above zero, from {least:g} to {most:g}.'
            )
        return (float(figure),)

    return read


def yes_no(cell: str, _unit: str | None) -> tuple[bool]:
    """Yes or no."""
    word = cell.casefold()
    if word not in _YES + _NO:
        raise CellRefused("not yes or no", f'"{cell[:40]}" is neither; write yes or no.')
    return (word in _YES,)


def one_of(values: type[StrEnum]) -> Read:
    """One word of a closed list, whatever its case."""
    return word_of(value.value for value in values)


def word_of(words: Iterable[str]) -> Read:
    """One word of these, whatever its case."""
    known = {word.casefold(): word for word in words}

    def read(cell: str, _unit: str | None) -> tuple[str]:
        tidy = " ".join(cell.split()).casefold()
        if tidy not in known:
            listed = ", ".join(known.values())
            raise CellRefused(
                "unknown", f'"{cell[:40]}" is none of: {listed}.{hint(cell[:40], known.values())}'
            )
        return (known[tidy],)

    return read


def read_when(cell: str, site_zone: ZoneInfo, *, end: bool = False) -> datetime:
    """A day, a day with a time at the site, or an instant as exported when a time alone would not do."""
    return read_instant(cell) if cell.endswith("Z") else read_moment(cell, site_zone, end=end)


def not_after(when: date, today: date, column: str) -> None:
    """Refuse a day that is still to come."""
    if when > today:
        raise CellRefused("still to come", f"{when} is after today, {today}; check the year.", column)
