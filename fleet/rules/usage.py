"""What can be one entry of use."""

from __future__ import annotations

from fleet.refusals import NotPossible

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
