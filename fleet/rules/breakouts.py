"""What nuts were measured to take when they broke loose, and what that says about the next time.

The highest torque measured is what is planned with. From three on, a bound for the next nut stands beside it:
the one-sided normal prediction bound for one further value, mean + t(0.95; n - 1) · s · √(1 + 1/n). Source:
ISO 16269-8, one further value of a normal population with unknown mean and deviation, as in Hahn and Meeker,
Statistical Intervals (both from memory). Breakouts are hardly normal, and the nuts of one flange are alike,
so the bound is shown, and nothing is refused by it.
"""

import math
import re
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from fleet.bolting.charts import Chart, torque_at
from fleet.bolting.distributions import student_factor
from fleet.bolting.figures import Units, exceeds, known, shown
from fleet.bolting.loosening import HIGHEST_FACTOR, LOWEST_FACTOR, Governs, Need, needed_torque
from fleet.measures.quantities import Kind, Measure, Rounding, read_measure
from fleet.measures.units import find_unit
from fleet.refusals import NotPossible, Unreadable
from fleet.rules.findings import Finding, Severity

MEASURED = "measured breakouts"
"""The reason of a loosening factor that comes from them."""

BOUND_FROM = 3
BOUND_CONFIDENCE = 0.95

_FIGURE = re.compile(r"[\s0-9.,/½¼¾]*")


@dataclass(frozen=True, slots=True)
class Spread:
    """The breakouts measured at one joint, in N·m. What takes more of them than there are is None."""

    count: int
    lowest_nm: float
    highest_nm: float
    mean_nm: float
    deviation_nm: float | None
    """The standard deviation of the sample."""
    bound_nm: float | None
    """What the next nut stays under with 95 % confidence, if breakouts are normal; from three on."""


@dataclass(frozen=True, slots=True)
class WrenchFacts:
    """The wrench that broke the nut loose: its chart, and what its advance line may carry."""

    label: str
    chart: Chart | None
    mwp_mpa: float | None


@dataclass(frozen=True, slots=True)
class Measured:
    """One breakout as it is kept: the torque, and the pump pressure when that was read."""

    torque_written: str
    torque_nm: float
    pressure_written: str | None
    pressure_mpa: float | None


def sum_up(torques_nm: Sequence[float]) -> Spread | None:
    """Sum up the torques at which nuts of one joint broke loose; None when there are none."""
    if not torques_nm:
        return None
    count, mean = len(torques_nm), statistics.fmean(torques_nm)
    deviation = statistics.stdev(torques_nm) if count > 1 else None
    bound = None
    if deviation is not None and count >= BOUND_FROM:
        # Half of what lies outside ±t lies above it.
        t = student_factor(2 * BOUND_CONFIDENCE - 1, count - 1)
        bound = mean + t * deviation * math.sqrt(1 + 1 / count)
    return Spread(count, min(torques_nm), max(torques_nm), mean, deviation, bound)


def implied_factor(spread: Spread, target_nm: float) -> float:
    """Give the loosening factor that the highest breakout means at a target torque.

    Never below the lowest factor a person may give: one that came off by hand says little about the next.
    """
    return max(spread.highest_nm / target_nm, LOWEST_FACTOR)


def say_spread(spread: Spread, units: Units) -> str:
    """Write the measurements in a few words: ``5 times, 3,000 lbf·ft to 3,900 lbf·ft``."""
    if spread.count == 1:
        return f"once, at {units.needed(spread.highest_nm)}"
    return f"{spread.count} times, {units.given(spread.lowest_nm)} to {units.needed(spread.highest_nm)}"


def demand(
    mark: str, target_nm: float, factor: float, reason: str, before: Spread | None, units: Units
) -> tuple[Need, Finding | None]:
    """Give what the joint needs: the larger of the planner's factor and the highest breakout measured.

    The finding says which of the two is used. Raises ``Unreadable`` as ``needed_torque`` does.
    """
    need = needed_torque(target_nm, factor, reason)
    if before is None:
        return need, None
    measured = f"Measured before at {mark}: {say_spread(before, units)}."
    if not exceeds(before.highest_nm, need.loosening_nm):
        sentence = f"{measured} The planned factor of {factor:g} asks for no less, and is used."
        return need, Finding(Severity.NOTE, "breakouts-below-plan", sentence, mark)
    sentence = f"{measured} The highest is more than the planned factor of {factor:g} asks for, and is used."
    highest = before.highest_nm
    governs = Governs.LOOSENING if exceeds(highest, target_nm) else Governs.TIGHTENING
    raised = Need(target_nm, highest, max(target_nm, highest), governs)
    return raised, Finding(Severity.NOTE, "breakouts-above-plan", sentence, mark)


def read_breakout(text: str) -> Measure:
    """Read a torque or a pump pressure by its unit: ``3,400 lbf·ft``, ``6,200 psi``."""
    unit = find_unit(_FIGURE.sub("", text, count=1))
    if unit is None or unit.kind not in (Kind.TORQUE, Kind.PRESSURE):
        raise Unreadable(
            f'"{" ".join(text.split())[:40]}" is neither a torque nor a pump pressure; write what was read '
            "when the nut broke loose, like 1,900 N·m or 6,200 psi."
        )
    return read_measure(text, unit.kind)


def judge_breakout(
    read: Measure, wrench: WrenchFacts | None, target_nm: float, torque_unit: str, units: Units
) -> Measured:
    """Turn what was read into the torque that is kept; a pressure becomes one on the wrench's own chart.

    Refused: a pressure without a wrench or chart, or off the chart; what is above the wrench's maximum
    working pressure or its chart; and a torque far above the joint's target, which is a slip of the pen.
    """
    if not known(read.base):
        raise NotPossible(f'"{read.written}" is no breakout; it must be above zero.')
    if read.kind is Kind.PRESSURE:
        measured = _by_pressure(read, wrench, torque_unit, units)
    else:
        _within_reach(read, wrench, units)
        measured = Measured(read.written, read.base, None, None)
    if exceeds(measured.torque_nm, HIGHEST_FACTOR * target_nm):
        raise NotPossible(
            f"{read.written} is more than {HIGHEST_FACTOR:g} times the target torque of "
            f"{units.needed(target_nm)}; check the figure, its unit and the joint."
        )
    return measured


def _by_pressure(read: Measure, wrench: WrenchFacts | None, torque_unit: str, units: Units) -> Measured:
    if wrench is None:
        raise NotPossible(
            f"{read.written} is a pump pressure; name the wrench too, because its chart gives the torque."
        )
    if wrench.chart is None:
        raise NotPossible(
            f"There is no pressure-torque chart for {wrench.label}, so a pressure says nothing about torque; "
            "give the torque."
        )
    if wrench.mwp_mpa is not None and exceeds(read.base, wrench.mwp_mpa):
        raise NotPossible(
            f"{read.written} is above the maximum working pressure of {wrench.label}, "
            f"{units.rating(wrench.mwp_mpa)}; check the figure, and if it is right, hold the wrench."
        )
    torque_nm = torque_at(wrench.chart, read.base, units).torque_nm
    # Rounded up, because it is a demand; and what is kept is what is written.
    written = shown(torque_nm, Kind.TORQUE, torque_unit, Rounding.UP)
    return Measured(written, read_measure(written, Kind.TORQUE).base, read.written, read.base)


def _within_reach(read: Measure, wrench: WrenchFacts | None, units: Units) -> None:
    """Refuse a torque that the wrench cannot have given."""
    if wrench is None or wrench.chart is None:
        return
    top, bottom = wrench.chart.top, wrench.chart.bottom
    highest = top.pressure_mpa if wrench.mwp_mpa is None else min(top.pressure_mpa, wrench.mwp_mpa)
    top_nm = torque_at(wrench.chart, max(highest, bottom.pressure_mpa), units).torque_nm
    if exceeds(read.base, top_nm):
        raise NotPossible(
            f"{wrench.label} gives at most {units.given(top_nm)}, so it cannot have broken a nut loose at "
            f"{read.written}; check the figure, its unit and the wrench."
        )
