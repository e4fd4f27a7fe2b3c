"""How this floor compares figures and writes them into sentences."""

import math
from fractions import Fraction
from typing import TypeGuard

FLOAT_NOISE = 1e-9
"""Relative slack of every comparison: it absorbs unit conversion, and nothing that a gauge could show."""

MM_PER_INCH = 25.4


def known(value: float | None) -> TypeGuard[float]:
    """Whether a figure is on record and can be a pressure, torque or length at all: finite and above zero."""
    return value is not None and math.isfinite(value) and value > 0


def exceeds(value: float, limit: float) -> bool:
    """Whether ``value`` lies above ``limit`` by more than float noise."""
    return value > limit + FLOAT_NOISE * max(abs(value), abs(limit))


def mpa(pressure_mpa: float) -> str:
    """Write a pressure, in the unit of the calculation and the one on the gauges: ``70 MPa (700 bar)``."""
    return f"{pressure_mpa:,.6g} MPa ({pressure_mpa * 10:,.6g} bar)"


def newton_metres(torque_nm: float) -> str:
    """Write a torque to six digits, so that two that differ look different: ``9,400 N·m``."""
    return f"{torque_nm:,.6g} N·m"


def inches(length_mm: float) -> str:
    """Write a length to the nearest sixteenth of an inch, as on a socket: ``1 1/2 in``."""
    sixteenths = round(length_mm / MM_PER_INCH * 16)
    whole, rest = divmod(sixteenths, 16)
    part = str(Fraction(rest, 16)) if rest else ""
    return f"{whole or ''} {part}".strip() + " in"
