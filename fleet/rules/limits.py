"""Own limits of single items, and the bounds of every interval that a person may set."""

from dataclasses import dataclass

from fleet.measures.times import show_hours
from fleet.refusals import NotPossible

LONGEST_MONTHS = 36
"""No proposal is made, and none is taken, for longer than this: the room's policy, no source."""

MOST_MONTHS = 240
"""A limit longer than this is a slip of the pen."""


@dataclass(frozen=True, slots=True)
class Clocks:
    """The clocks of a limit; None where the task's own goes on."""

    months: int | None = None
    cycles: int | None = None
    minutes: int | None = None

    def __str__(self) -> str:
        """Write the clocks as a person says them."""
        said = (
            f"{self.months} months" if self.months else "",
            f"{self.cycles:,} cycles" if self.cycles else "",
            f"{show_hours(self.minutes)} pump hours" if self.minutes else "",
        )
        return " or ".join(part for part in said if part)


def check_clocks(clocks: Clocks) -> None:
    """Refuse a limit without a clock, or with one that cannot be meant."""
    given = [one for one in (clocks.months, clocks.cycles, clocks.minutes) if one is not None]
    if not given:
        raise NotPossible("A limit needs a clock: --months, --cycles or --hours.")
    if min(given) <= 0 or (clocks.months or 0) > MOST_MONTHS:
        raise NotPossible(f"A limit is above zero, and at most {MOST_MONTHS} months.")


def check_taken(now_months: int | None, current_months: int | None, proposed_months: int) -> None:
    """Refuse a proposal that is longer than the room's policy, or that was made for another interval."""
    if proposed_months > LONGEST_MONTHS:
        raise NotPossible(
            f"{proposed_months} months are more than the room's longest interval, {LONGEST_MONTHS} months."
        )
    if now_months != current_months:
        raise NotPossible(
            f"The proposal was made for an interval of {_months(now_months)}, and that is "
            f"{_months(current_months)} now: make a new proposal."
        )


def _months(months: int | None) -> str:
    return "no months" if months is None else f"{months} months"
