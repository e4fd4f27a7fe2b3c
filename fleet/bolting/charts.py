"""The pressure-torque chart of one wrench, read both ways.

Between charted points the chart is a straight line: the output of a hydraulic wrench is linear in pressure
(torque = pressure x piston area x lever arm; common practice, no source), and a chart made on a test bench
differs from that line only by friction. Outside the charted points nothing is known, so nothing is answered.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import pairwise

from fleet.bolting.figures import SI, Units, exceeds, known
from fleet.refusals import OffTheChart, Unreadable

LOWEST_SHARE_OF_RATED_POINT = 0.2
"""A chart of one rated point is used from this share of it up: lower, friction in the tool is no longer
small. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """One charted pair."""

    pressure_mpa: float
    torque_nm: float

    def __str__(self) -> str:
        """Write the pair as a person reads it off the chart."""
        return f"{SI.target(self.torque_nm)} at {SI.reading(self.pressure_mpa)}"


@dataclass(frozen=True, slots=True)
class Chart:
    """A checked chart, as ``make_chart`` gives it: points strictly rising in pressure and in torque."""

    points: tuple[ChartPoint, ...]
    source: str
    """Where it comes from: the maker's sheet, a certificate number."""
    approximate: bool
    """True when only the rated point is known and the chart is a straight line through zero."""

    @property
    def bottom(self) -> ChartPoint:
        """The lowest pair that may be read."""
        first = self.points[0]
        if not self.approximate:
            return first
        share = LOWEST_SHARE_OF_RATED_POINT
        return ChartPoint(first.pressure_mpa * share, first.torque_nm * share)

    @property
    def top(self) -> ChartPoint:
        """The highest pair that may be read."""
        return self.points[-1]


@dataclass(frozen=True, slots=True)
class Reading:
    """What the chart says, and the charted points next to it.

    ``below`` and ``above`` are the same point when one was hit exactly; ``below`` is None between zero and
    the rated point of an approximate chart.
    """

    pressure_mpa: float
    torque_nm: float
    below: ChartPoint | None
    above: ChartPoint | None
    approximate: bool


def make_chart(points: Iterable[ChartPoint], source: str) -> Chart:
    """Check the points, lowest first, and make a chart of them; one point alone makes an approximate chart.

    Raises ``Unreadable`` naming the point that is not above zero, repeats a pressure, or does not rise.
    """
    charted = tuple(points)
    if not charted:
        raise Unreadable("A chart needs at least one point: write a pressure and the torque it gives.")
    for number, point in enumerate(charted, start=1):
        if not (known(point.pressure_mpa) and known(point.torque_nm)):
            raise Unreadable(
                f"Point {number} of the chart ({point}) must have a pressure and a torque above zero."
            )
    for number, (lower, upper) in enumerate(pairwise(charted), start=2):
        _refuse_unless_rising(number, lower, upper)
    return Chart(charted, source, approximate=len(charted) == 1)


def _refuse_unless_rising(number: int, lower: ChartPoint, upper: ChartPoint) -> None:
    if not exceeds(upper.pressure_mpa, lower.pressure_mpa):
        same = not exceeds(lower.pressure_mpa, upper.pressure_mpa)
        fault = "repeats the pressure of" if same else "has a lower pressure than"
    elif not exceeds(upper.torque_nm, lower.torque_nm):
        fault = "has a higher pressure but no more torque than"
    else:
        return
    raise Unreadable(
        f"Point {number} of the chart ({upper}) {fault} the point before it ({lower}); "
        "write each pressure once, from the lowest up, with the torque rising."
    )


def pressure_for(chart: Chart, torque_nm: float, units: Units = SI) -> Reading:
    """Read the pressure that gives ``torque_nm``; raises ``OffTheChart`` outside the charted torques.

    ``units`` are those of the refusal's sentence.
    """
    low, high = chart.bottom.torque_nm, chart.top.torque_nm
    _refuse_outside(chart, torque_nm, low, high, (units.needed, units.given))
    torque_nm = min(max(torque_nm, low), high)
    below, above = _neighbours(chart, lambda point: point.torque_nm, torque_nm)
    start = below or ChartPoint(0.0, 0.0)
    pressure_mpa = _between(
        torque_nm, start.torque_nm, above.torque_nm, start.pressure_mpa, above.pressure_mpa
    )
    return Reading(pressure_mpa, torque_nm, below, above, chart.approximate)


def torque_at(chart: Chart, pressure_mpa: float, units: Units = SI) -> Reading:
    """Read the torque that ``pressure_mpa`` gives; raises ``OffTheChart`` outside the charted pressures.

    ``units`` are those of the refusal's sentence.
    """
    low, high = chart.bottom.pressure_mpa, chart.top.pressure_mpa
    _refuse_outside(chart, pressure_mpa, low, high, (units.setting, units.rating))
    pressure_mpa = min(max(pressure_mpa, low), high)
    below, above = _neighbours(chart, lambda point: point.pressure_mpa, pressure_mpa)
    start = below or ChartPoint(0.0, 0.0)
    torque_nm = _between(
        pressure_mpa, start.pressure_mpa, above.pressure_mpa, start.torque_nm, above.torque_nm
    )
    return Reading(pressure_mpa, torque_nm, below, above, chart.approximate)


def _refuse_outside(
    chart: Chart,
    asked: float,
    low: float,
    high: float,
    write: tuple[Callable[[float], str], Callable[[float], str]],
) -> None:
    """Refuse what is off the chart; ``write`` rounds up and down, so that the figures never look alike."""
    # Written so that a value that is not a number is refused too.
    if asked == asked and not exceeds(asked, high) and not exceeds(low, asked):  # noqa: PLR0124  Only NaN differs from itself.
        return
    up, down = write
    wanted = up(asked) if asked > high else down(asked)
    hint = " (one rated point only, usable from a fifth of it up to it)" if chart.approximate else ""
    raise OffTheChart(f"{wanted} lies outside the chart, which runs from {up(low)} to {down(high)}{hint}.")


def _neighbours(
    chart: Chart, axis: Callable[[ChartPoint], float], value: float
) -> tuple[ChartPoint | None, ChartPoint]:
    """Give the charted points at or next to a value that lies inside the chart."""
    above = next(point for point in chart.points if axis(point) >= value)
    below = next((point for point in reversed(chart.points) if axis(point) <= value), None)
    return below, above


def _between(x: float, x0: float, x1: float, y0: float, y1: float) -> float:
    if x1 == x0:  # The value hit a charted point.
        return y1
    return y0 + (x - x0) / (x1 - x0) * (y1 - y0)
