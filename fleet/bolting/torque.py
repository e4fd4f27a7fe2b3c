"""Bolt load from torque and torque from bolt load.

Short form: T = K·d·F. K belongs to one lubricant and batch, and handbooks disagree (0.16 to 0.30), so it is
always asked for and always shown. Long form, of ISO 16047 and the appendix on torque in ASME PCC-1 (both from
memory): T = F/2·(P/π + μt·d2/cos 30° + μn·De). Turning the other way, the pitch helps instead of costing.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

from fleet.bolting.figures import exceeds, known
from fleet.bolting.threads import Thread, pitch_diameter_mm, root_area_mm2, tensile_stress_area_mm2
from fleet.refusals import Unreadable

SCATTER_PERCENT_LUBRICATED, SCATTER_PERCENT_DRY = 25.0, 35.0
"""Scatter of bolt load when torque is what is controlled (NASA guidance on fasteners, read in quotation)."""

SCATTER_WARNING = (
    "Torque is not bolt load: with the torque exactly right, the load still scatters by about ±25 % on "
    "lubricated and ±35 % on dry threads."
)

_HALF_FLANK_ANGLE = math.radians(30)


class Area(StrEnum):
    """The area a stress is counted on."""

    TENSILE = "tensile stress area"
    ROOT = "root area"


@dataclass(frozen=True, slots=True)
class Friction:
    """Coefficients of friction in the thread and under the nut, and the mean diameter the nut bears on."""

    thread: float
    nut: float
    bearing_diameter_mm: float


def area_mm2(thread: Thread, area: Area) -> float:
    """Give the chosen area of a bolt."""
    return tensile_stress_area_mm2(thread) if area is Area.TENSILE else root_area_mm2(thread)


def load_at_stress_n(thread: Thread, stress_mpa: float, area: Area) -> float:
    """Give the bolt load at a stress counted on the chosen area."""
    return _positive(stress_mpa, "The bolt stress") * area_mm2(thread, area)


def load_at_yield_share_n(thread: Thread, yield_mpa: float, percent: float, area: Area) -> float:
    """Give the bolt load at a percentage of yield; raises ``Unreadable`` outside 0 to 100 %."""
    if not 0 < percent <= 100:  # noqa: PLR2004  A percentage.
        raise Unreadable(f"{percent:g} % of yield lies outside 0 to 100 %.")
    return load_at_stress_n(thread, _positive(yield_mpa, "The yield strength") * percent / 100, area)


def yield_share_percent(thread: Thread, yield_mpa: float, bolt_load_n: float, area: Area) -> float:
    """Give what share of yield a bolt load is; raises ``Unreadable`` beyond yield."""
    percent = 100 * stress_mpa(thread, bolt_load_n, area) / _positive(yield_mpa, "The yield strength")
    if exceeds(percent, 100):
        raise Unreadable(
            f"That load is {percent:.0f} % of the yield strength of {thread.designation}, and the bolt would "
            "stretch for good: take a larger bolt, a stronger grade or less load."
        )
    return percent


def stress_mpa(thread: Thread, bolt_load_n: float, area: Area) -> float:
    """Give the stress that a bolt load reaches on the chosen area."""
    return bolt_load_n / area_mm2(thread, area)


def short_form_torque_nm(nut_factor: float, thread: Thread, bolt_load_n: float) -> float:
    """Give K·d·F; the nut factor K comes with the lubricant and is never assumed."""
    return _nut_factor(nut_factor, thread) * thread.diameter_mm * bolt_load_n / 1000


def short_form_load_n(nut_factor: float, thread: Thread, torque_nm: float) -> float:
    """Give the bolt load of a torque by the short form."""
    return torque_nm * 1000 / (_nut_factor(nut_factor, thread) * thread.diameter_mm)


def bearing_diameter_mm(thread: Thread, across_flats_mm: float) -> float:
    """Give the mean bearing diameter of a nut: halfway between thread and width across flats."""
    return (across_flats_mm + thread.diameter_mm) / 2


def tightening_torque_nm(thread: Thread, bolt_load_n: float, friction: Friction) -> float:
    """Give the torque that brings the bolt to ``bolt_load_n``, by the long form."""
    return bolt_load_n * _arm_mm(thread, friction) / 1000


def tightening_load_n(thread: Thread, torque_nm: float, friction: Friction) -> float:
    """Give the bolt load that a torque brings, by the long form."""
    return torque_nm * 1000 / _arm_mm(thread, friction)


def loosening_torque_nm(thread: Thread, bolt_load_n: float, friction: Friction) -> float:
    """Give the torque that starts a clean nut backwards; below zero it would come off by itself."""
    return turned_back_nm(thread, bolt_load_n, tightening_torque_nm(thread, bolt_load_n, friction))


def turned_back_nm(thread: Thread, bolt_load_n: float, tightening_nm: float) -> float:
    """Give the loosening torque of a clean joint from its tightening torque, whatever the friction.

    Raising the load by a turn costs load × pitch on top of the friction, lowering it gives that work back,
    and friction is the same both ways: so T_off = T_on − F·P/π. It holds for the short form as well, whose K
    holds the pitch.
    """
    return tightening_nm - bolt_load_n * thread.pitch_mm / math.pi / 1000


def reaction_force_n(torque_nm: float, arm_mm: float) -> float:
    """Give the force at the reaction point: torque over the distance from the drive's axis to it."""
    return _positive(torque_nm, "The torque") * 1000 / _positive(arm_mm, "The reaction arm")


def load_range_n(bolt_load_n: float, scatter_percent: float) -> tuple[float, float]:
    """Give the least and the greatest bolt load that scatter leaves possible."""
    return bolt_load_n * (1 - scatter_percent / 100), bolt_load_n * (1 + scatter_percent / 100)


def _arm_mm(thread: Thread, friction: Friction) -> float:
    """Torque over bolt load: pitch, thread friction and nut friction, each as a lever in mm."""
    in_thread = friction.thread * pitch_diameter_mm(thread) / math.cos(_HALF_FLANK_ANGLE)
    return (thread.pitch_mm / math.pi + in_thread + friction.nut * friction.bearing_diameter_mm) / 2


def _nut_factor(nut_factor: float, thread: Thread) -> float:
    # Without any friction the pitch alone still asks P/(2π·d).
    if not thread.pitch_mm / (2 * math.pi * thread.diameter_mm) < nut_factor < 1:
        raise Unreadable(f"A nut factor K of {nut_factor:g} cannot be: handbooks give 0.16 to 0.30.")
    return nut_factor


def _positive(value: float, name: str) -> float:
    if not known(value):
        raise Unreadable(f"{name} must be above zero.")
    return value
