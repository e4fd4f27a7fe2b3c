"""How this floor compares figures and writes them into sentences."""

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeGuard

from fleet.measures.quantities import Kind as Measured
from fleet.measures.quantities import convert

FLOAT_NOISE = 1e-9
"""Relative slack of every comparison: it absorbs unit conversion, and nothing that a gauge could show."""

MM_PER_INCH = 25.4


def known(value: float | None) -> TypeGuard[float]:
    """Whether a figure is on record and can be a pressure, torque or length at all: finite and above zero."""
    return value is not None and math.isfinite(value) and value > 0


def exceeds(value: float, limit: float) -> bool:
    """Whether ``value`` lies above ``limit`` by more than float noise."""
    return value > limit + FLOAT_NOISE * max(abs(value), abs(limit))


@dataclass(frozen=True, slots=True)
class Units:
    """The units that sentences are written in: those of the gauges and charts the reader has before him."""

    pressure: str = "MPa"
    torque: str = "N·m"

    def mpa(self, pressure_mpa: float) -> str:
        """Write a pressure to six digits, so that two that differ look different: ``10,152.6 psi``.

        MPa stands on no gauge of the trade, so bar stands beside it: ``70 MPa (700 bar)``.
        """
        if self.pressure == "MPa":
            return f"{pressure_mpa:,.6g} MPa ({pressure_mpa * 10:,.6g} bar)"
        return f"{convert(pressure_mpa, Measured.PRESSURE, self.pressure):,.6g} {self.pressure}"

    def newton_metres(self, torque_nm: float) -> str:
        """Write a torque to six digits: ``9,400 N·m``."""
        return f"{convert(torque_nm, Measured.TORQUE, self.torque):,.6g} {self.torque}"

    def at_least(self, torque_nm: float) -> str:
        """Write a torque to ask for: up to the next ten, or to the next hundredth of a kN·m."""
        step = 0.01 if self.torque == "kN·m" else 10
        steps = math.ceil(convert(torque_nm, Measured.TORQUE, self.torque) / step - 1e-6)
        return f"{steps * step:,.6g} {self.torque}"


SI = Units()

mpa = SI.mpa
newton_metres = SI.newton_metres


def inches(length_mm: float) -> str:
    """Write a length to the nearest sixteenth of an inch, as on a socket: ``1 1/2 in``."""
    sixteenths = round(length_mm / MM_PER_INCH * 16)
    whole, rest = divmod(sixteenths, 16)
    part = str(Fraction(rest, 16)) if rest else ""
    return f"{whole or ''} {part}".strip() + " in"
