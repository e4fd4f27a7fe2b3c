"""Torque from bolt load and back: the screw with friction in its thread and under its nut.

The long form is that of ISO 16047 and of the appendix on torque in ASME PCC-1 (both from memory):
T = F/2·(P/π + μt·d2/cos 30° + μn·De). Turning the other way, the pitch helps instead of costing.
"""

import math
from dataclasses import dataclass

from fleet.bolting.threads import Thread, pitch_diameter_mm

_HALF_FLANK_ANGLE = math.radians(30)


@dataclass(frozen=True, slots=True)
class Friction:
    """Coefficients of friction in the thread and under the nut, and the mean diameter the nut bears on."""

    thread: float
    nut: float
    bearing_diameter_mm: float


def bearing_diameter_mm(thread: Thread, across_flats_mm: float) -> float:
    """Give the mean bearing diameter of a nut: halfway between thread and width across flats."""
    return (across_flats_mm + thread.diameter_mm) / 2


def tightening_torque_nm(thread: Thread, bolt_load_n: float, friction: Friction) -> float:
    """Give the torque that brings the bolt to ``bolt_load_n``."""
    return bolt_load_n / 2 * (_friction_mm(thread, friction) + thread.pitch_mm / math.pi) / 1000


def loosening_torque_nm(thread: Thread, bolt_load_n: float, friction: Friction) -> float:
    """Give the torque that starts a clean nut backwards; below zero it would come off by itself."""
    return bolt_load_n / 2 * (_friction_mm(thread, friction) - thread.pitch_mm / math.pi) / 1000


def _friction_mm(thread: Thread, friction: Friction) -> float:
    in_thread = friction.thread * pitch_diameter_mm(thread) / math.cos(_HALF_FLANK_ANGLE)
    return in_thread + friction.nut * friction.bearing_diameter_mm
