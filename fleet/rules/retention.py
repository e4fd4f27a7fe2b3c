"""How long each kind of record is to be kept, and from when it counts.

PUWER 1998 regulation 6 asks for the evidence of an inspection until the next one; ISO 9001 and ISO/IEC 17025
leave the time to those who keep the records. Ten years are the room's own default (common practice, no
source), and the room may set others. The program deletes nothing whatever is set: the years say until when
nobody else may delete a record either, neither in the database nor in its copies.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.refusals import SettingsWrong

if TYPE_CHECKING:
    from collections.abc import Mapping

DEFAULT_YEARS = 10
# Kinds of record, and what their years are counted from.
COUNTED_FROM = {
    "inspections": "the next inspection of the item",
    "proof_tests": "the next proof test of the item",
    "calibrations": "the next calibration of the item",
    "repairs": "the day the item is retired",
    "loans_and_use": "the day of the entry",
    "holds_and_concessions": "the day they ended",
    "impact_reviews": "the day they were closed",
    "letters": "the day they were written",
    "day_book": "the day of the entry",
}
_MOST_YEARS = 100


@dataclass(frozen=True, slots=True)
class Kept:
    """How many years one kind of record is kept, and counted from what."""

    records: str
    years: int
    counted_from: str


def retention(years_set: Mapping[str, int]) -> tuple[Kept, ...]:
    """The rule for every kind of record; those not set have the default."""
    return tuple(
        Kept(kind.replace("_", " "), years_set.get(kind, DEFAULT_YEARS), start)
        for kind, start in COUNTED_FROM.items()
    )


def read_years(kind: str, text: str) -> int:
    """A whole number of years, at least one; raises ``SettingsWrong``."""
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= _MOST_YEARS):
        raise SettingsWrong(f"retention.{kind} must be whole years from 1 to {_MOST_YEARS}, not {text!r}.")
    return int(text)
