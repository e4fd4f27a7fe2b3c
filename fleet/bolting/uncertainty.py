"""Uncertainty of a torque that was set as a pressure, by the GUM (JCGM 100).

Each thing that is not known exactly is a contribution: its standard uncertainty, in newton metres on the
torque, and how many degrees of freedom stand behind it. They are added in squares (independent), and the
whole is expanded with Student's factor for the effective degrees of freedom of Welch and Satterthwaite (GUM
G.4).
"""

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from fleet.bolting.distributions import student_factor
from fleet.refusals import Unreadable

FEWEST_FOR_A_FIT = 3


@dataclass(frozen=True, slots=True)
class LineFit:
    """A straight line with its standard uncertainties: y = intercept + slope · (x − origin)."""

    origin: float
    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    correlation: float
    residual: float
    """The standard deviation of the points about the line."""
    degrees_of_freedom: int

    def at(self, x: float) -> tuple[float, float]:
        """Give the line's value at ``x`` and its standard uncertainty, correlation included."""
        away = x - self.origin
        variance = (
            self.u_intercept**2
            + (away * self.u_slope) ** 2
            + 2 * away * self.correlation * self.u_intercept * self.u_slope
        )
        return self.intercept + self.slope * away, math.sqrt(max(variance, 0.0))


@dataclass(frozen=True, slots=True)
class Contribution:
    """One source of uncertainty on the result, already in the result's unit."""

    name: str
    standard: float
    degrees_of_freedom: float = math.inf


@dataclass(frozen=True, slots=True)
class Budget:
    """All contributions together."""

    contributions: tuple[Contribution, ...]
    combined: float
    degrees_of_freedom: float
    coverage_factor: float
    confidence: float
    expanded: float

    def share_percent(self, contribution: Contribution) -> float:
        """Give what one contribution has in the combined variance."""
        return 100 * (contribution.standard / self.combined) ** 2 if self.combined else 0.0


def fit_line(xs: Sequence[float], ys: Sequence[float], origin: float = 0.0) -> LineFit:
    """Fit a straight line by least squares (GUM H.3).

    Raises ``Unreadable`` under three points, when all stand at one place, or when one is not a number.
    """
    if len(xs) != len(ys) or len(xs) < FEWEST_FOR_A_FIT:
        raise Unreadable(f"A straight line with its uncertainty needs at least {FEWEST_FOR_A_FIT} points.")
    if not all(math.isfinite(one) for one in (*xs, *ys, origin)):
        raise Unreadable("A straight line needs plain numbers.")
    away = [x - origin for x in xs]
    middle = statistics.fmean(away)
    spread = math.fsum((x - middle) ** 2 for x in away)
    if spread == 0:
        raise Unreadable("All points stand at one place: a line needs points at different pressures.")
    mean_y = statistics.fmean(ys)
    slope = math.fsum((x - middle) * (y - mean_y) for x, y in zip(away, ys, strict=True)) / spread
    intercept = mean_y - slope * middle
    freedom = len(xs) - 2
    squares = math.fsum((y - intercept - slope * x) ** 2 for x, y in zip(away, ys, strict=True))
    residual = math.sqrt(squares / freedom)
    mean_square = math.fsum(x * x for x in away) / len(xs)
    return LineFit(
        origin=origin,
        intercept=intercept,
        slope=slope,
        u_intercept=residual * math.sqrt(mean_square / spread),
        u_slope=residual / math.sqrt(spread),
        correlation=-middle / math.sqrt(mean_square) if mean_square else 0.0,
        residual=residual,
        degrees_of_freedom=freedom,
    )


def within_limits(name: str, half_width: float) -> Contribution:
    """Make a contribution of limits ±``half_width`` with nothing known inside them (GUM 4.3.7)."""
    return Contribution(name, half_width / math.sqrt(3))


def from_expanded(name: str, expanded: float, coverage_factor: float = 2.0) -> Contribution:
    """Make a contribution of an expanded uncertainty as a certificate states it (GUM 4.3.3)."""
    return Contribution(name, expanded / coverage_factor)


def from_readings(name: str, readings: Sequence[float]) -> Contribution:
    """Make a contribution of repeated readings: the standard deviation of their mean (GUM 4.2.3)."""
    if len(readings) < 2:  # noqa: PLR2004  One reading has no spread.
        raise Unreadable(f"{name.capitalize()} needs at least two readings.")
    deviation = statistics.stdev(readings) / math.sqrt(len(readings))
    return Contribution(name, deviation, len(readings) - 1)


def add_up(contributions: Sequence[Contribution], confidence: float = 0.95) -> Budget:
    """Combine independent contributions and expand them to ``confidence``.

    The effective degrees of freedom are cut to a whole number, as the GUM does before it looks up t (G.6.4).
    """
    if not contributions:
        raise Unreadable("An uncertainty budget needs at least one contribution.")
    combined = math.sqrt(math.fsum(one.standard**2 for one in contributions))
    divisor = math.fsum(one.standard**4 / one.degrees_of_freedom for one in contributions)
    freedom = combined**4 / divisor if divisor else math.inf
    whole = freedom if math.isinf(freedom) else max(float(math.floor(freedom + 1e-9)), 1.0)
    factor = student_factor(confidence, whole)
    return Budget(tuple(contributions), combined, freedom, factor, confidence, factor * combined)
