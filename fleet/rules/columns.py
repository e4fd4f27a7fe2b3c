"""What a column and a sheet are, and how a sheet's definition is written down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fleet.measures.quantities import Kind


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its heading, other headings for it, whether it is needed, and what its numbers measure.

    A column that is not ``written`` is only read: it stands for two that are.
    """

    heading: str
    also: tuple[str, ...] = ()
    needed: bool = False
    measures: Kind | None = None
    written: bool = True


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet, with its columns in the order in which they are written."""

    name: str
    columns: tuple[Column, ...]

    @property
    def headings(self) -> tuple[str, ...]:
        """The headings as they are written."""
        return tuple(column.heading for column in self.columns if column.written)


def needed(heading: str, also: str = "", measures: Kind | None = None) -> Column:
    """A column that a file must have; ``also`` are other headings for it, with commas between them."""
    return Column(heading, _names(also), needed=True, measures=measures)


def maybe(heading: str, also: str = "", measures: Kind | None = None, *, written: bool = True) -> Column:
    """A column that a file may have."""
    return Column(heading, _names(also), measures=measures, written=written)


def _names(also: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in also.split(",") if name.strip())
