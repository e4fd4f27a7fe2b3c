"""How this floor compares figures and writes them into sentences."""

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeGuard

from fleet.measures.quantities import Kind as Measured
from fleet.measures.quantities import Rounding, convert, show

FLOAT_NOISE = 1e-9
"""Relative slack of every comparison: it absorbs unit conversion, and nothing that a gauge could show."""

MM_PER_INCH = 25.4

_MOST_WRITTEN = 1e12


def known(value: float | None) -> TypeGuard[float]:
    """Whether a figure is on record and can be a pressure, torque or length at all: finite and above zero."""
    return value is not None and math.isfinite(value) and value > 0


def exceeds(value: float, limit: float) -> bool:
    """Whether ``value`` lies above ``limit`` by more than float noise."""
    return value > limit + FLOAT_NOISE * max(abs(value), abs(limit))


def shown(base: float, kind: Measured, unit: str, rounding: Rounding) -> str:
    """Write a figure of ours in ``unit``; nowhere is one written otherwise, so fact and sentence agree.

    A rating is rounded DOWN and a demand UP, so a demand above a rating never looks like it. Float noise of
    our own arithmetic is not a demand: 1.6 × 19,900 is 31,840 and not 31,841.
    """
    if not abs(base) < _MOST_WRITTEN:  # What is not a number, too: refusals quote it.
        return f"{base:.6g} {unit}"
    slack = FLOAT_NOISE * abs(base)
    safe = {Rounding.DOWN: base + slack, Rounding.UP: base - slack}.get(rounding, base)
    return show(safe, kind, unit, rounding=rounding)


def percent(share: float) -> str:
    """Write what is asked of something, or how far it may be off, as per cent rounded up: ``3.1 %``."""
    return f"{math.ceil(share * (1 - FLOAT_NOISE) * 10) / 10:.1f} %"


def off(given: float, wanted: float) -> str:
    """Write how far something is from what was wanted: ``+1.2 %``."""
    # A nought is added so that nothing is "-0.0 %".
    return f"{round(100 * (given / wanted - 1), 1) + 0.0:+.1f} %"


def left_over(share: float) -> int:
    """Give what is left of something in whole per cent, rounded down."""
    return math.floor(share + FLOAT_NOISE)


@dataclass(frozen=True, slots=True)
class Units:
    """The units that figures are written in: those of the gauges and charts the reader has before him.

    What is not known is written as an empty text.
    """

    pressure: str = "MPa"
    torque: str = "N·m"

    def rating(self, mpa: float | None) -> str:
        """Write a pressure that something may stand, rounded down."""
        return self._pressure(mpa, Rounding.DOWN)

    def setting(self, mpa: float | None) -> str:
        """Write a pressure that is put on the parts, by a relief setting or to reach a torque, rounded up."""
        return self._pressure(mpa, Rounding.UP)

    def reading(self, mpa: float | None) -> str:
        """Write a pressure that stands on a gauge or a chart, rounded to the nearest."""
        return self._pressure(mpa, Rounding.NEAREST)

    def given(self, nm: float | None) -> str:
        """Write a torque that something can give, rounded down."""
        return self._torque(nm, Rounding.DOWN)

    def needed(self, nm: float | None) -> str:
        """Write a torque that is needed, rounded up."""
        return self._torque(nm, Rounding.UP)

    def target(self, nm: float | None) -> str:
        """Write a torque as measured or read off a chart, rounded to the nearest."""
        return self._torque(nm, Rounding.NEAREST)

    def at_least(self, torque_nm: float) -> str:
        """Write a torque to ask for: up to the next ten, or to the next hundredth of a kN·m."""
        step = 0.01 if self.torque == "kN·m" else 10
        steps = math.ceil(convert(torque_nm, Measured.TORQUE, self.torque) / step - 1e-6)
        return f"{steps * step:,.6g} {self.torque}"

    def _pressure(self, mpa: float | None, rounding: Rounding) -> str:
        """Write a pressure; MPa stands on no gauge of the trade, so bar stands beside it."""
        if mpa is None:
            return ""
        written = shown(mpa, Measured.PRESSURE, self.pressure, rounding)
        return (
            f"{written} ({shown(mpa, Measured.PRESSURE, 'bar', rounding)})"
            if self.pressure == "MPa"
            else written
        )

    def _torque(self, nm: float | None, rounding: Rounding) -> str:
        return "" if nm is None else shown(nm, Measured.TORQUE, self.torque, rounding)


@dataclass(frozen=True, slots=True)
class BothUnits(Units):
    """As ``Units``, with the other unit system of the trade in brackets: whoever reads either reads it."""

    def _pressure(self, mpa: float | None, rounding: Rounding) -> str:
        if mpa is None:
            return ""
        other = "bar" if self.pressure in {"psi", "ksi"} else "psi"
        units = (self.pressure, other)
        return _in_both([shown(mpa, Measured.PRESSURE, unit, rounding) for unit in units])

    def _torque(self, nm: float | None, rounding: Rounding) -> str:
        if nm is None:
            return ""
        other = "N·m" if self.torque in {"lbf·ft", "lbf·in"} else "lbf·ft"
        units = (self.torque, other)
        return _in_both([shown(nm, Measured.TORQUE, unit, rounding) for unit in units])


def _in_both(written: list[str]) -> str:
    return f"{written[0]} ({written[1]})"


SI = Units()
BOTH = BothUnits("bar", "N·m")


def inches(length_mm: float) -> str:
    """Write a length to the nearest sixteenth of an inch, as on a socket: ``1 1/2 in``."""
    sixteenths = round(length_mm / MM_PER_INCH * 16)
    whole, rest = divmod(sixteenths, 16)
    part = str(Fraction(rest, 16)) if rest else ""
    return f"{whole or ''} {part}".strip() + " in"
