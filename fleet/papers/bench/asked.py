"""What was asked of a calculation at one face, whichever it is.

A command hands in numbers that its library has read, a page the text of its fields; what each calls a field
is for it to say, and a refusal that is about one field carries its name.
"""

from __future__ import annotations

import math
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from fleet.bolting.figures import BOTH, BothUnits, Units
from fleet.measures.numerals import read_number
from fleet.measures.quantities import Kind, read_measure
from fleet.papers.bench.reading import Table
from fleet.refusals import Refusal, Unreadable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from fleet.papers.bench.register import Register

Given = TypeVar("Given")

# More of anything is a slip, and what is counted is also worked through.
_MOST_COUNTED = 1_000_000
_LONGEST_NUMBER = 20
_NO_UNIT = "(no unit)"


@dataclass(frozen=True, slots=True)
class Asked:
    """The fields as given, by name; what was left empty is None or missing."""

    fields: Mapping[str, object]
    called: Callable[[str], str]
    """What this face calls a field, in a sentence."""
    register: Callable[[], Register]
    """The register as whoever asks may see it; only reached for when something in it is named."""
    units: BothUnits = BOTH
    """The units of figures, those the reader chose first."""

    def given(self, name: str) -> bool:
        """Whether a field holds anything."""
        return self.fields.get(name) is not None

    def text(self, name: str) -> str | None:
        """A field as text."""
        value = self.fields.get(name)
        return None if value is None else str(value)

    def need(self, name: str) -> str:
        """A field as text that cannot be left out."""
        value = self.text(name)
        if value is None:
            raise self.amiss(name, f"{self.called(name)} is missing.")
        return value

    def number(self, name: str) -> float | None:
        """A plain number, below zero too."""
        value = self.fields.get(name)
        if value is None:
            return None
        with about(name):
            return float(value) if isinstance(value, int | float) else _plain(str(value))

    def need_number(self, name: str) -> float:
        """A plain number that cannot be left out."""
        self.need(name)
        return self.number(name) or 0.0

    def count(self, name: str) -> int | None:
        """A whole number."""
        value = self.number(name)
        if value is None:
            return None
        if not (math.isfinite(value) and value == int(value) and abs(value) <= _MOST_COUNTED):
            raise self.amiss(
                name, f"{str(self.fields[name])[:40]!r} is no count; write a whole number like 12."
            )
        return int(value)

    def need_count(self, name: str) -> int:
        """A whole number that cannot be left out."""
        self.need(name)
        return self.count(name) or 0

    def measure(self, name: str, kind: str, *, unit: str | None = None) -> float:
        """A measure that cannot be left out, in the base unit of its kind."""
        text = self.need(name)
        with about(name):
            return read_measure(text, Kind(kind), unit=unit).base

    def units_of(self, name: str, kind: str) -> Units:
        """The units in which a refusal is written: that in which the question was asked."""
        return Units(**{kind: read_measure(self.need(name), Kind(kind)).unit})

    def several(self, name: str) -> list[str]:
        """A field that may be given several times."""
        value = self.fields.get(name)
        return [str(one) for one in value] if isinstance(value, list | tuple) else []

    def points(self, name: str = "points") -> Table:
        """A table of points; its face says how it is read, and only when it is needed."""
        self.need(name)
        read = self.fields[name]
        if not callable(read):
            raise TypeError(f"{name} is no table to be read")
        with about(name):
            table = read()
        if not isinstance(table, Table):
            raise TypeError(f"{name} was not read as a table")
        return table

    def only_one(self, what: str, *names: str) -> str:
        """The name of the one field that was given; refused when it is none or several."""
        chosen = [name for name in names if self.given(name)]
        if len(chosen) == 1:
            return chosen[0]
        called = [self.called(name) for name in names]
        wanted = f"{', '.join(called[:-1])} or {called[-1]}"
        both = " and ".join(self.called(name) for name in chosen)
        excess = f", not {both} together" if chosen else ""
        raise self.amiss((chosen or names)[0], f"Give {what} by one of {wanted}{excess}.")

    def needed(self, value: Given | None, name: str, method: str) -> Given:
        """What a method cannot do without."""
        if value is None:
            raise self.amiss(name, f"The method {method} needs {self.called(name)}.")
        return value

    @staticmethod
    def amiss(name: str, sentence: str) -> Unreadable:
        """A refusal about one field."""
        refusal = Unreadable(sentence)
        refusal.about = name
        return refusal


@contextmanager
def about(name: str) -> Iterator[None]:
    """What is refused inside is about this field."""
    try:
        yield
    except Refusal as refusal:
        refusal.about = refusal.about or name
        raise


def _plain(text: str) -> float:
    """A number as it is written into a field, with its sign; per cent and degrees may stand behind it."""
    tidy = " ".join(text.split())
    figure = tidy.lstrip("+-−").rstrip("%°").strip()
    if not figure or len(tidy) > _LONGEST_NUMBER or len(tidy) - len(tidy.lstrip("+-−")) > 1:
        raise Unreadable(f"{tidy[:40]!r} is no number; write it like 0.2 or 1,200.")
    try:
        value = read_number(figure, _NO_UNIT, example="0.2")
    except Unreadable as refused:
        raise Unreadable(str(refused).replace(f" {_NO_UNIT}", "")) from None
    return -value if tidy[0] in "-−" else value
