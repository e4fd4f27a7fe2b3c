"""Which items a recall is about: a model, and if given a range of serial numbers or a time of assembly.

Serial numbers are compared by their last figures: "K-0099" comes before "K-100", since 99 is less than 100.
That only means something where all that stands before and after those figures is the same, so a range whose
ends differ there is refused, and an item that differs there is not in the range.
"""

from __future__ import annotations

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from fleet.measures.times import read_day, show_day
from fleet.refusals import NotPossible, Unreadable

_SERIAL = re.compile(r"(.*?)([0-9]+)([^0-9]*)", re.DOTALL)
_MONTH = re.compile(r"([0-9]{4})-(0[1-9]|1[0-2])")


class _Numbered(NamedTuple):
    """A serial number: what stands around its last figures, and those figures as a number."""

    around: tuple[str, str]
    number: int


@dataclass(frozen=True, slots=True)
class Scope:
    """What a recall is about, besides the model; all days included. What is empty does not narrow it."""

    serial_from: str | None = None
    serial_to: str | None = None
    assembled_from: date | None = None
    assembled_to: date | None = None

    def __str__(self) -> str:
        """Write it as a person would."""
        parts = []
        if self.serial_from is not None:
            parts.append(f"serial numbers {self.serial_from} to {self.serial_to}")
        if self.assembled_from is not None and self.assembled_to is not None:
            parts.append(f"assembled {show_day(self.assembled_from)} to {show_day(self.assembled_to)}")
        return ", ".join(parts) or "every one"


def read_scope(serials: str | None, assembled: str | None) -> Scope:
    """Read ``A..B`` (or one serial number) and ``2024-01..2024-06`` (or days). Raises a refusal."""
    low = high = None
    if serials is not None:
        low, high = _ends(serials, "serial numbers", "K-100..K-250")
        _check_range(low, high)
    begin = end = None
    if assembled is not None:
        first, last = _ends(assembled, "days of assembly", "2024-01..2024-06")
        begin, end = _day(first, last=False), _day(last, last=True)
        if begin > end:
            raise NotPossible(f"{show_day(begin)} comes after {show_day(end)}: write the earlier one first.")
    return Scope(low, high, begin, end)


def _ends(text: str, what: str, example: str) -> tuple[str, str]:
    ends = [end.strip() for end in text.split("..")]
    if len(ends) not in (1, 2) or not all(ends):  # A single one is a range of itself.
        raise Unreadable(f'"{text[:60]}" is no range of {what}; write it like {example}.')
    return ends[0], ends[-1]


def _check_range(low: str, high: str) -> None:
    first, last = _numbered(low), _numbered(high)
    if low == high:
        return
    if first is None or last is None or first.around != last.around:
        raise NotPossible(
            f"The serial numbers {low} and {high} cannot be compared: they must be the same but for their "
            "last figures. Open one recall for each series."
        )
    if first.number > last.number:
        raise NotPossible(f"{low} comes after {high}: write the lower serial number first.")


def _day(text: str, *, last: bool) -> date:
    if found := _MONTH.fullmatch(text):
        year, month = int(found[1]), int(found[2])
        if not 1970 <= year <= 2100:  # noqa: PLR2004  As for every day that is read.
            raise Unreadable(f'"{text}" is no month that can be meant; check the year.')
        return date(year, month, monthrange(year, month)[1] if last else 1)
    return read_day(text)


def _numbered(serial: str) -> _Numbered | None:
    found = _SERIAL.fullmatch(serial.strip())
    return _Numbered((found[1].casefold(), found[3].casefold()), int(found[2])) if found else None


def matches(scope: Scope, serial: str, assembled_on: date | None) -> bool:
    """Whether an item of the model is meant. One whose assembly is not on record is, since it may be."""
    if scope.assembled_from is not None and scope.assembled_to is not None and assembled_on is not None:
        inside = scope.assembled_from <= assembled_on <= scope.assembled_to
    else:
        inside = True
    return inside and _serial_meant(scope, serial)


def _serial_meant(scope: Scope, serial: str) -> bool:
    if scope.serial_from is None or scope.serial_to is None:
        return True
    if serial.strip().casefold() in (scope.serial_from.casefold(), scope.serial_to.casefold()):
        return True
    low, high, own = _numbered(scope.serial_from), _numbered(scope.serial_to), _numbered(serial)
    if low is None or high is None or own is None:
        return False
    return own.around == low.around and low.number <= own.number <= high.number


def comparable(scope: Scope, serial: str) -> bool:
    """Whether the item's serial number is of the range's series; others should be looked at by hand."""
    if scope.serial_from is None:
        return True
    low, own = _numbered(scope.serial_from), _numbered(serial)
    return low is not None and own is not None and own.around == low.around
