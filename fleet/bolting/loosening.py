"""What it takes to get a nut off again, and whether a kit can give it.

No public standard fixes a breakout multiplier. A clean joint comes off with less torque than it was tightened
with; rust, paint, galling and heat turn that round, and 1.5 to 2.5 times is heard in the trade (common
practice, no source). So the factor is asked for, with the reason for it, and the kit is checked against the
larger torque. A nut that does not move at the system's highest pressure needs a larger wrench, never more
pressure (common practice, no source).
"""

import math
from dataclasses import dataclass
from enum import StrEnum

from fleet.bolting.figures import SI, Units, exceeds, known, left_over
from fleet.bolting.threads import Thread
from fleet.bolting.torque import Friction, bearing_diameter_mm, loosening_torque_nm, tightening_torque_nm
from fleet.refusals import Unreadable

LOWEST_FACTOR, HIGHEST_FACTOR = 0.5, 5.0
"""Outside these a factor is taken for a slip of the pen; a clean joint needs about 0.7. The program's own."""

SHORTEST_REASON = 10

TIGHT_FROM = 0.9
"""A need above this share of what the kit can give is tight. The program's own, no source."""


class Governs(StrEnum):
    """Which of the two torques is the larger."""

    TIGHTENING = "tightening"
    LOOSENING = "loosening"


class CoverState(StrEnum):
    """Whether what the kit can give covers the need."""

    COVERED = "covered"
    TIGHT = "tight"
    NOT_COVERED = "not covered"


@dataclass(frozen=True, slots=True)
class Need:
    """The torque a wrench must be able to give at one joint."""

    tightening_nm: float
    loosening_nm: float
    needed_nm: float
    governs: Governs


@dataclass(frozen=True, slots=True)
class Cover:
    """How far the kit covers the need.

    ``margin_percent`` is what is left, as a share of what the kit can give; it is negative when not covered.
    """

    margin_percent: float
    state: CoverState


def needed_torque(tightening_nm: float, loosening_factor: float, reason: str) -> Need:
    """Give the larger of the tightening torque and the loosening torque, which is factor × tightening.

    Raises ``Unreadable`` for a torque that is not above zero, a factor outside 0.5 to 5, or no real reason.
    """
    if not known(tightening_nm):
        raise Unreadable("The tightening torque must be above zero: write the torque of the joint procedure.")
    if not LOWEST_FACTOR <= loosening_factor <= HIGHEST_FACTOR:
        raise Unreadable(
            f"A loosening factor of {loosening_factor:g} lies outside {LOWEST_FACTOR:g} to "
            f"{HIGHEST_FACTOR:g}: write how many times the tightening torque the nut may need."
        )
    if len(reason.strip()) < SHORTEST_REASON:
        raise Unreadable(
            "The loosening factor needs its reason in words, such as: rusted studs, four years in salt air."
        )
    loosening_nm = tightening_nm * loosening_factor
    if exceeds(loosening_nm, tightening_nm):
        return Need(tightening_nm, loosening_nm, loosening_nm, Governs.LOOSENING)
    return Need(tightening_nm, loosening_nm, tightening_nm, Governs.TIGHTENING)


def cover(available_nm: float, needed_nm: float) -> Cover:
    """Hold what a kit can give against what is needed; both must be above zero."""
    if not (known(available_nm) and known(needed_nm)):
        raise Unreadable("Both the torque available and the torque needed must be above zero.")
    margin_percent = 100 * (1 - needed_nm / available_nm)
    if exceeds(needed_nm, available_nm):
        return Cover(margin_percent, CoverState.NOT_COVERED)
    if exceeds(needed_nm, TIGHT_FROM * available_nm):
        return Cover(margin_percent, CoverState.TIGHT)
    return Cover(margin_percent, CoverState.COVERED)


def clean_joint_ratio(thread: Thread, across_flats_mm: float, friction: float) -> float:
    """Give loosening over tightening torque of a clean joint with one and the same friction everywhere.

    From the mechanics of the screw alone: about 0.71 to 0.77 at μ 0.12 for coarse threads to M30 or
    1 1/4 in, and more for fine and large threads (0.83 for 1 1/2-8).
    """
    if not (math.isfinite(friction) and friction > 0):
        raise Unreadable("The coefficient of friction must be above zero, as in 0.12.")
    surfaces = Friction(friction, friction, bearing_diameter_mm(thread, across_flats_mm))
    return loosening_torque_nm(thread, 1.0, surfaces) / tightening_torque_nm(thread, 1.0, surfaces)


def say_cover(found: Cover, available_nm: float, needed_nm: float, units: Units = SI) -> str:
    """Write the verdict as one sentence."""
    have, want = units.given(available_nm), units.needed(needed_nm)
    if found.state is CoverState.NOT_COVERED:
        return (
            f"The kit can give {have} and the joint needs {want}: take a larger wrench, never more pressure."
        )
    if found.state is CoverState.TIGHT:
        share = 100 - left_over(found.margin_percent)
        return (
            f"The kit can give {have} and the joint needs {want}, {share} % of it: tight. "
            "If the nut does not move, take a larger wrench, never more pressure."
        )
    return f"The kit can give {have} and the joint needs {want}: {left_over(found.margin_percent)} % is left."
