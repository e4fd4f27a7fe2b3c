"""Tightening in passes: the order round the flange, and the torque and set pressure of each pass.

ASME PCC-1 (from memory): snug, then 20 to 30 %, then 50 to 70 %, then 100 % in cross pattern, then 100 % from
bolt to bolt round the flange until no nut turns. The percentages are the user's; these are the usual ones.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from fleet.bolting.charts import Chart, Reading, pressure_for
from fleet.bolting.figures import SI, Units, exceeds, known
from fleet.refusals import OffTheChart, Unreadable

USUAL_PERCENTS = (30.0, 60.0, 100.0)

FEWEST_BOLTS, MOST_BOLTS = 3, 200


@dataclass(frozen=True, slots=True)
class Pass:
    """One time round the flange."""

    number: int
    percent: float
    torque_nm: float
    reading: Reading | None
    """The set pressure; None without a chart, or when the torque lies below the chart's lowest point."""
    order: tuple[int, ...]
    """Bolt numbers, counted round the flange from 1."""
    circular: bool
    """True for the last pass, from bolt to neighbouring bolt, repeated until no nut turns."""
    below_chart: bool = False

    @property
    def note(self) -> str:
        """What the person with the remote must know about this pass."""
        if self.below_chart:
            return "Below the lowest point of the chart: use another tool, or a higher percentage."
        if self.circular:
            return "Repeat until no nut turns."
        return ""


def cross_order(bolts: int) -> tuple[int, ...]:
    """Give the cross pattern for a number of bolts.

    Even counts: consecutive pairs stand opposite, and each pair is far from the last. Odd counts have no
    opposite bolt; the next one is the nearest to it. Raises ``Unreadable`` outside 3 to 200.
    """
    if not FEWEST_BOLTS <= bolts <= MOST_BOLTS:
        raise Unreadable(f"A flange with {bolts} bolts: write a count from {FEWEST_BOLTS} to {MOST_BOLTS}.")
    return _spread(bolts)


def _spread(count: int) -> tuple[int, ...]:
    """Order 1 … count so that each next one is far away: a half is spread so, then paired across."""
    if count % 2:
        step = max(count // 2, 1)
        return tuple(step * index % count + 1 for index in range(count))
    half = count // 2
    return tuple(bolt for first in _spread(half) for bolt in (first, first + half))


def plan_passes(
    chart: Chart | None,
    target_torque_nm: float,
    bolts: int,
    percents: Sequence[float] = USUAL_PERCENTS,
    units: Units = SI,
) -> tuple[Pass, ...]:
    """Give every pass with its set pressure, then the circular one at full torque.

    Without a chart there are no set pressures. ``units`` are those of a refusal's sentence.
    Raises ``OffTheChart`` when the target itself is off the chart, ``Unreadable`` when the percentages do not
    rise to 100.
    """
    _refuse_unless_rising_to_full(percents)
    if not known(target_torque_nm):
        raise Unreadable("The target torque must be above zero.")
    target = None if chart is None else pressure_for(chart, target_torque_nm, units)
    order = cross_order(bolts)
    crossed = (
        _cross(chart, number, percent, target_torque_nm * percent / 100, order)
        for number, percent in enumerate(percents, start=1)
    )
    circle = tuple(range(1, bolts + 1))
    last = Pass(len(percents) + 1, 100.0, target_torque_nm, target, circle, circular=True)
    return (*crossed, last)


def _cross(
    chart: Chart | None, number: int, percent: float, torque_nm: float, order: tuple[int, ...]
) -> Pass:
    if chart is None:
        return Pass(number, percent, torque_nm, None, order, circular=False)
    try:
        reading = pressure_for(chart, torque_nm)
    except OffTheChart:
        return Pass(number, percent, torque_nm, None, order, circular=False, below_chart=True)
    return Pass(number, percent, torque_nm, reading, order, circular=False)


def _refuse_unless_rising_to_full(percents: Sequence[float]) -> None:
    rising = all(exceeds(later, earlier) for earlier, later in pairwise(percents))
    if not (percents and rising and percents[0] > 0 and percents[-1] == 100):  # noqa: PLR2004  A percentage.
        written = ", ".join(f"{percent:g}" for percent in percents) or "none"
        raise Unreadable(f"The passes ({written} %) must rise and end at 100 %, as in 30, 60, 100.")
