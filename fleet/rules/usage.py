"""What can be one entry of use, and which part of a kit did what."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.bolting.parts import Kind
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

# More than this in one loan is a slip of the finger.
MOST_CYCLES = 100_000
MOST_MINUTES = 60 * 24 * 90


def check_use(cycles: int, minutes: int) -> None:
    """Refuse use that is negative, or more than one loan can hold."""
    if cycles < 0 or minutes < 0:
        raise NotPossible("Use cannot be negative. To take a wrong entry back, reverse it.")
    if cycles > MOST_CYCLES or minutes > MOST_MINUTES:
        raise NotPossible(
            f"{cycles:,} cycles and {minutes:,} minutes are more than one loan can hold. Check the figures."
        )


@dataclass(frozen=True, slots=True)
class Worked:
    """A wrench or pump of a loan: what was booked when it came back (empty: it did not yet), and the plan."""

    kind: str
    cycles: int | None
    minutes: int | None
    planned_cycles: int | None
    planned_minutes: int | None


def part_of_use(
    kind: str, cycles: int | None, minutes: int | None, kit: Collection[str]
) -> tuple[int | None, int | None]:
    """What one part of a kit that comes back together did of the kit's cycles and pump minutes.

    The wrench did the cycles and the pump the minutes; what lies between them went through both. By itself,
    or among several of its own kind, a part did what is said of it. ``kit`` holds the kinds that came back.
    """
    if cycles is None or minutes is None:
        return cycles, minutes
    if kind == Kind.WRENCH and Kind.PUMP in kit:
        return cycles, 0
    if kind == Kind.PUMP and Kind.WRENCH in kit:
        return 0, minutes
    return cycles, minutes


def served_use(kind: str, worked: Sequence[Worked]) -> tuple[int, int] | None:
    """The cycles and pump minutes that a part of this kind went through with the rest of its loan.

    As booked where that came back already, else as planned; None when neither is known. Of several wrenches
    it may have served each, so all count: too many rather than too few.
    """
    wrenches = [one for one in worked if one.kind == Kind.WRENCH]
    pumps = [one for one in worked if one.kind == Kind.PUMP]
    cycles = _sum(one.planned_cycles if one.cycles is None else one.cycles for one in wrenches)
    minutes = _sum(one.planned_minutes if one.minutes is None else one.minutes for one in pumps)
    if minutes is None:
        minutes = _sum(one.planned_minutes for one in wrenches)
    if kind == Kind.PUMP:
        return None if minutes is None else (0, minutes)
    return None if cycles is None else (cycles, minutes or 0)


def _sum(figures: Iterable[int | None]) -> int | None:
    known = [figure for figure in figures if figure is not None]
    return int(sum(known)) if known else None  # PostgreSQL adds whole numbers up to a decimal.
