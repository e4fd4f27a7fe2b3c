"""Measures with units: read once at the edge, kept as written, shown on the safe side.

All arithmetic is done in plain numbers of the base unit of a kind (MPa, N·m, N, mm, kg, min, cm³, L/min).
"""

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType

from fleet.measures.numerals import (
    decimal_instead,
    has_exponent,
    read_number,
    thousands_instead,
    without_spaces,
)
from fleet.measures.units import BASE_UNIT, UNITS, Kind, Unit, factors, find_unit, known_spellings
from fleet.refusals import Unreadable

__all__ = [
    "BASE_UNIT",
    "DUAL_MARK_RULE",
    "Kind",
    "Measure",
    "Rating",
    "Rounding",
    "convert",
    "read_measure",
    "read_rating",
    "show",
    "to_base",
]

DUAL_MARK_RULE = (
    "Two pressure marks on one plate that differ by at most 2 % are one pressure class, "
    "read at the higher mark as printed by the maker; marks that differ more are refused."
)
_DUAL_MARK_SPREAD = 0.02

# No measure is written longer than this; a plate with two or three marks is.
_LONGEST_MEASURE = 40
_LONGEST_PLATE = 100


@dataclass(frozen=True, slots=True)
class _Sense:
    """What is sensible for a kind: how a sentence says it, an example, and a bound well above the trade."""

    name: str
    example: str
    most: float
    most_shown: str


# The bounds catch a slipped decimal sign or a wrong unit; they are the program's own, no source.
_SENSE: Mapping[Kind, _Sense] = MappingProxyType(
    {
        Kind.PRESSURE: _Sense("a pressure", "700 bar", 1_000, "1,000 MPa"),
        Kind.TORQUE: _Sense("a torque", "1,400 N·m", 200_000, "200 kN·m"),
        Kind.FORCE: _Sense("a force", "350 kN", 20_000_000, "20,000 kN"),
        Kind.LENGTH: _Sense("a length", "36 mm or 1 1/2 in", 200_000, "200 m"),
        Kind.MASS: _Sense("a mass", "12.5 kg", 20_000, "20,000 kg"),
        Kind.DURATION: _Sense("a duration", "90 min or 1.5 h", 12_000_000, "200,000 h"),
        Kind.VOLUME: _Sense("a volume", "60 cm³ or 4 in³", 20_000, "20 L"),
        Kind.FLOW: _Sense("a flow", "0.9 L/min or 55 in³/min", 200, "200 L/min"),
    }
)

# A point before three decimals is doubted only where thousands are everyday figures.
_THOUSANDS_ARE_COMMON = (Kind.PRESSURE, Kind.TORQUE, Kind.FORCE)

_NO_UNIT_OF_OURS: Mapping[str, str] = MappingProxyType(
    {
        "mPa": "mPa means millipascal; write MPa if megapascal is meant",
        "psia": "psia is absolute pressure; give gauge pressure in psi",
        "bara": "bara is absolute pressure; give gauge pressure in bar",
        "bar(a)": "bar(a) is absolute pressure; give gauge pressure in bar",
        "gpm": "a gallon may be the US or the imperial one; write US gal/min, or the flow in L/min",
        "GPM": "a gallon may be the US or the imperial one; write US gal/min, or the flow in L/min",
        "gal/min": "a gallon may be the US or the imperial one; write US gal/min, or the flow in L/min",
    }
)
_AS_FORCE: Mapping[str, str] = MappingProxyType({"kg": "kgf", "lb": "lbf"})

_UNIT_BEGINS = re.compile(r"[^\W\d_½¼¾⅐-⅞²³¹]|[\"″”]|''")
_NEXT_MARK = re.compile(r"\s*[/(;=|]\s*(?=[0-9])")


@dataclass(frozen=True, slots=True)
class Measure:
    """A measure as written, its number in its own unit, and ``base`` in the base unit of its kind."""

    written: str
    kind: Kind
    value: float
    unit: str
    base: float


@dataclass(frozen=True, slots=True)
class Rating:
    """The pressure a part is marked for: as printed, in MPa by ``DUAL_MARK_RULE``, and every mark."""

    written: str
    mpa: float
    marks: tuple[Measure, ...]
    dual: bool


class Rounding(StrEnum):
    """Which way a shown number may leave the true one: a rating DOWN, a demand UP, anything else NEAREST."""

    DOWN = "down"
    UP = "up"
    NEAREST = "nearest"


def read_measure(text: str, kind: Kind, *, unit: str | None = None) -> Measure:
    """Read one measure, such as ``3,400 psi`` or ``1 1/2 in``.

    ``unit`` is the unit of bare numbers, as in a column headed "Max pressure (psi)"; it is then added to what
    is kept as written, and a unit beside the number counts before it. Raises Unreadable with what to write.
    """
    tidy = " ".join(text.split())
    sense = _SENSE[kind]
    if not tidy or len(tidy) > _LONGEST_MEASURE:
        raise Unreadable(f'"{tidy[:_LONGEST_MEASURE]}" is not {sense.name}; write it like {sense.example}.')
    if has_exponent(tidy):
        raise Unreadable(f'"{tidy}" is written with an exponent; write the number out, like {sense.example}.')
    number, unit_text = _split(tidy)
    if not number:
        raise Unreadable(f'"{tidy}" holds no number; write it like {sense.example}.')
    found = _unit_written(tidy, unit_text or unit or "", kind)
    value = read_number(number, found.label, example=sense.example)
    base = to_base(value, kind, found.label)
    _check_size(number, found, base)
    written = tidy if unit_text else f"{tidy} {found.label}"
    return Measure(written=written, kind=kind, value=value, unit=found.label, base=base)


def read_rating(text: str, *, unit: str | None = None) -> Rating:
    """Read the pressure marks of a plate: ``700 bar``, or a dual mark such as ``700 bar / 10 000 psi``.

    Inside a dual mark a figure in spaced groups is read when another mark bears it out. Raises Unreadable
    when a mark cannot be read or the marks are not one class by ``DUAL_MARK_RULE``.
    """
    tidy = " ".join(text.split())
    if len(tidy) > _LONGEST_PLATE:
        raise Unreadable(f'"{tidy[:_LONGEST_PLATE]}" is too long for a pressure mark; write it like 700 bar.')
    parts = [part if "(" in part else part.removesuffix(")") for part in _NEXT_MARK.split(tidy)]
    if len(parts) == 1:
        mark = read_measure(tidy, Kind.PRESSURE, unit=unit)
        marks: tuple[Measure, ...] = (mark,)
    else:
        marks = _read_marks(parts)
    highest = max(mark.base for mark in marks)
    lowest = min(mark.base for mark in marks)
    if lowest <= 0:
        raise Unreadable(f'"{tidy}" is no rating; a maximum working pressure is above zero.')
    if highest > lowest * (1 + _DUAL_MARK_SPREAD):
        raise Unreadable(
            f'The marks in "{tidy}" differ by {highest / lowest - 1:.1%}; read the plate again, '
            "because marks more than 2 % apart are not one pressure class."
        )
    written = marks[0].written if len(marks) == 1 else tidy
    return Rating(written=written, mpa=highest, marks=marks, dual=len(marks) > 1)


def to_base(value: float, kind: Kind, unit: str) -> float:
    """Answer a value of ``unit`` as a base value. Raises Unreadable for a unit of another kind.

    The decimal figures of the value count, exactly: 17.1 bar and 1.71 MPa are one number, so that equal marks
    never differ in a comparison.
    """
    return float(Fraction(str(float(value))) * _factor(kind, unit))


def convert(base: float, kind: Kind, unit: str) -> float:
    """Answer a base value in ``unit``. Raises Unreadable for a unit of another kind."""
    factor = _factor(kind, unit)
    return base * factor.denominator / factor.numerator


def show(base: float, kind: Kind, unit: str, *, rounding: Rounding) -> str:
    """Write a base value in ``unit`` with about four digits, so that ``read_measure`` can read it back.

    Read back, a text rounded DOWN is never more than ``base`` and one rounded UP never less. Inches are
    written as a fraction when they are whole sixteenths.
    """
    label = _unit_written(unit, unit, kind).label
    if label == "in" and (fraction := _sixteenths(base)):
        return f"{fraction} in"
    value = convert(base, kind, label)
    decimals = _decimals(value)
    scale = 10**decimals
    count = round(value * scale)
    while rounding is Rounding.DOWN and to_base(count / scale, kind, label) > base:
        count -= 1
    while rounding is Rounding.UP and to_base(count / scale, kind, label) < base:
        count += 1
    figure = f"{count / scale:,.{decimals}f}"
    return f"{figure.rstrip('0').rstrip('.') if decimals else figure} {label}"


def _split(tidy: str) -> tuple[str, str]:
    """Part the number from the unit, which begins at the first letter or inch sign."""
    begins = _UNIT_BEGINS.search(tidy)
    if begins is None:
        return tidy, ""
    return tidy[: begins.start()].rstrip(), tidy[begins.start() :]


def _unit_written(tidy: str, unit: str, kind: Kind) -> Unit:
    """Answer the unit, if it is one of ours and of this kind; the sentence quotes all of ``tidy``."""
    sense = _SENSE[kind]
    if not unit:
        raise Unreadable(f'"{tidy}" has no unit; write it like {sense.example}.')
    if unit in _NO_UNIT_OF_OURS:
        raise Unreadable(f'"{tidy}" cannot be used: {_NO_UNIT_OF_OURS[unit]}.')
    found = find_unit(unit)
    if found is None:
        raise Unreadable(_unknown(tidy, unit, kind))
    if found.kind is not kind:
        meant = _AS_FORCE.get(found.label) if kind is Kind.FORCE else None
        hint = f"write {meant} for a force" if meant else f"such as {sense.example}"
        raise Unreadable(f'"{tidy}" is {_SENSE[found.kind].name}; {sense.name} was expected, {hint}.')
    return found


def _unknown(tidy: str, unit: str, kind: Kind) -> str:
    sense = _SENSE[kind]
    if re.search("[0-9]", unit):
        return f'"{tidy}" holds more than one number; write one value with its unit, like {sense.example}.'
    of_kind = [spelt for spelt in known_spellings() if (found := find_unit(spelt)) and found.kind is kind]
    for near in difflib.get_close_matches(unit.casefold(), of_kind, n=1):
        if meant := find_unit(near):
            return f'"{unit}" in "{tidy}" is not a known unit; did you mean {meant.label}?'
    labels = ", ".join(known.label for known in UNITS if known.kind is kind)
    return f'"{unit}" in "{tidy}" is not a known unit; {sense.name} is written in one of {labels}.'


def _check_size(number: str, unit: Unit, base: float) -> None:
    """Refuse what is far above the trade, and a point that may have been meant for thousands."""
    sense = _SENSE[unit.kind]
    if base > sense.most:
        smaller = decimal_instead(number)
        ask = f"was {smaller} {unit.label} meant?" if smaller else "check the number and the unit."
        raise Unreadable(
            f'"{number} {unit.label}" is more than {sense.name} can be (at most {sense.most_shown}); {ask}'
        )
    larger = thousands_instead(number) if unit.kind in _THOUSANDS_ARE_COMMON else None
    if larger and to_base(float(larger.replace(",", "")), unit.kind, unit.label) <= sense.most:
        raise Unreadable(
            f'"{number} {unit.label}" reads both ways; '
            f"write {float(number):g} {unit.label} or {larger} {unit.label}."
        )


def _read_marks(parts: list[str]) -> tuple[Measure, ...]:
    """Read the marks of one plate; at least one must be readable by itself, to bear out the others."""
    borne_out = any(without_spaces(_split(part)[0]) is None for part in parts)
    marks = []
    for part in parts:
        number, unit_text = _split(part)
        commas = without_spaces(number) if borne_out else None
        mark = read_measure(f"{commas or number} {unit_text}", Kind.PRESSURE)
        marks.append(replace(mark, written=part))
    if len({mark.unit for mark in marks}) < len(marks):
        raise Unreadable(
            f'"{" / ".join(parts)}" gives two pressures in one unit; write the one that is the maximum.'
        )
    return tuple(marks)


def _factor(kind: Kind, unit: str) -> Fraction:
    known = factors()
    return known.get((kind, unit)) or known[kind, _unit_written(unit, unit, kind).label]


def _decimals(value: float) -> int:
    """Answer how many decimals give about four digits; whole numbers from 1,000 up."""
    if value == 0:
        return 0
    return min(max(3 - math.floor(math.log10(abs(value))), 0), 6)


def _sixteenths(base: float) -> str | None:
    """Answer ``1 1/2`` for 38.1 mm, or nothing when this is not a whole number of sixteenths of an inch."""
    count = round(convert(base, Kind.LENGTH, "in") * 16)
    if count <= 0 or to_base(count / 16, Kind.LENGTH, "in") != base:
        return None
    whole, over = divmod(count, 16)
    common = math.gcd(over, 16)
    part = f"{over // common}/{16 // common}" if over else ""
    return f"{whole:,} {part}".strip() if whole else part
