"""Numbers as people write them, read without guessing.

A figure is digits, plain or in comma groups of three, with a point before decimals: ``3400``, ``3,400``,
``3,400.5``. Inches may have a fraction, ``1 1/2``, ``1-1/2`` or ``1½``. Everything else is refused with the
way to write it, because each of the other habits (a space or a point between thousands, a decimal comma, a
range) reads as another number somewhere.
"""

import re
import unicodedata
from typing import NoReturn

from fleet.refusals import Unreadable

_PLAIN = r"(?:0|[1-9][0-9]*|[1-9][0-9]{0,2}(?:,[0-9]{3})+)(?:\.[0-9]+)?"
_FIGURE = re.compile(_PLAIN)
_FRACTION = re.compile(r"(?:([1-9][0-9]*)[ -])?([1-9][0-9]*)/([1-9][0-9]*)")
_SPACED = re.compile(r"[1-9][0-9]{0,2}(?:[ '’][0-9]{3})+(?:\.[0-9]+)?")
_RANGE = re.compile(rf"({_PLAIN}) ?(?:-|–|—|−|…|\.\.+) ?({_PLAIN})")
_EXPONENT = re.compile(r"[0-9.,]+ ?[eE][+-]?[0-9]+(?![0-9a-zA-Z]).*")
_BELOW_ZERO = re.compile(rf"[-–−] ?({_PLAIN})")
_MARKED = re.compile(rf"[≥≤<>~≈±+=]+ ?({_PLAIN})")
_POINT_GROUPS = re.compile(r"[0-9]{1,3}(?:\.[0-9]{3})+,[0-9]+|[0-9]{1,3}(?:\.[0-9]{3}){2,}")
_DECIMAL_COMMA = re.compile(r"[0-9]+,[0-9]+")
_BARE_POINT = re.compile(r"\.[0-9]+|[0-9]+\.")
_LEADING_ZERO = re.compile(r"0[0-9]+(?:\.[0-9]+)?")

# Inch sizes are halved again and again, down to 1/64 in: common practice, no source.
_INCH_PARTS = (2, 4, 8, 16, 32, 64)


def has_exponent(text: str) -> bool:
    """Tell whether this is a number such as 1e9, whose "e9" would pass for a unit."""
    return _EXPONENT.fullmatch(text) is not None


def without_spaces(number: str) -> str | None:
    """Answer ``10,000`` for ``10 000``, or nothing when the number is not written in spaced groups."""
    return re.sub("[ '’]", ",", number) if _SPACED.fullmatch(number) else None


def read_number(number: str, unit: str, *, example: str) -> float:
    """Read one figure, or for inches a fraction such as ``1 1/2`` or ``1½``; ``unit`` is the label.

    Raises Unreadable with what to write instead; ``example`` stands in where nothing better is known.
    """
    if _FIGURE.fullmatch(number):
        return float(number.replace(",", ""))
    # Read as if it were spelt out, so that what is no inch size is refused like any other.
    if fraction := _FRACTION.fullmatch(spelt_out(number) or number):
        return _read_fraction(fraction, unit)
    return _refuse(number, unit, example)


def spelt_out(number: str) -> str | None:
    """Answer ``1 1/2`` for ``1½`` or ``1 ½``, or nothing when the number does not end in such a sign."""
    whole, sign = number[:-1].strip(), number[-1:]
    if not sign or unicodedata.category(sign) != "No" or not (whole or "0").isdecimal():
        return None
    part = unicodedata.normalize("NFKC", sign).replace("\N{FRACTION SLASH}", "/")
    return f"{whole} {part}".strip() if _FRACTION.fullmatch(part) else None


def thousands_instead(number: str) -> str | None:
    """Answer ``3,400`` for ``3.400``, which half the world reads so; nothing when only one reading is likely.

    Thousands are mostly round, and decimals mostly end without a nought, so only a closing nought is doubted.
    """
    return number.replace(".", ",") if re.fullmatch(r"[1-9][0-9]{0,2}\.[0-9]{2}0", number) else None


def decimal_instead(number: str) -> str | None:
    """Answer ``2.5`` for ``2,500``: what a decimal comma would mean; nothing when there is no comma."""
    return (
        _shortest(float(number.replace(",", "."))) if number.count(",") == 1 and "." not in number else None
    )


def _read_fraction(fraction: re.Match[str], unit: str) -> float:
    written = fraction.group()
    whole, over, under = (int(part or 0) for part in fraction.groups())
    if unit != "in":
        decimal = f"{_shortest(whole + over / under)} {unit}"
        raise Unreadable(f'"{written} {unit}" is not clear, as only inches have fractions; write {decimal}.')
    if under not in _INCH_PARTS or over >= under:
        raise Unreadable(
            f'"{written} in" is not an inch size; write it like 3/4 in or 1 1/2 in, or as a decimal.'
        )
    return whole + over / under


def _refuse(number: str, unit: str, example: str) -> NoReturn:
    written = f'"{number} {unit}"'
    if commas := without_spaces(number):
        plain = commas.replace(",", "")
        raise Unreadable(f"{written} has a gap inside the number; write {commas} {unit} or {plain} {unit}.")
    if found := _RANGE.fullmatch(number):
        low, high = found.groups()
        raise Unreadable(f"{written} is a range; choose one value and write {low} {unit} or {high} {unit}.")
    if found := _BELOW_ZERO.fullmatch(number):
        raise Unreadable(f"{written} is below zero, which cannot be here; write {found[1]} {unit}.")
    if found := _MARKED.fullmatch(number):
        raise Unreadable(f"{written} has a sign before the number; write only {found[1]} {unit}.")
    better = _better(number)
    if better and (_FIGURE.fullmatch(better) or _FRACTION.fullmatch(better)):
        raise Unreadable(f"{written} is not clear; write {better} {unit}.")
    raise Unreadable(f"{written} does not hold one plain number; write it like {example}.")


def _better(number: str) -> str | None:
    """Answer the one likely meaning of a figure written by another habit, if there is one."""
    if _POINT_GROUPS.fullmatch(number):
        whole, _, decimals = number.partition(",")
        return whole.replace(".", ",") + (f".{decimals}" if decimals else "")
    if _DECIMAL_COMMA.fullmatch(number):
        return number.replace(",", ".")
    if _BARE_POINT.fullmatch(number):
        return f"0{number}" if number.startswith(".") else number.removesuffix(".")
    if _LEADING_ZERO.fullmatch(number):
        return number.lstrip("0") if not number.lstrip("0").startswith(".") else f"0{number.lstrip('0')}"
    return None


def _shortest(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")
