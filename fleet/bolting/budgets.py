"""How well a torque set as a pressure is known: chart, gauge, wrench, reference, repeatability together."""

from dataclasses import dataclass

from fleet.bolting.charts import Chart, torque_at
from fleet.bolting.figures import exceeds, known
from fleet.bolting.gauges import Accuracy, gauge_error
from fleet.bolting.torque import SCATTER_WARNING
from fleet.bolting.uncertainty import (
    FEWEST_FOR_A_FIT,
    Budget,
    Contribution,
    LineFit,
    add_up,
    fit_line,
    within_limits,
)
from fleet.refusals import Unreadable

USUAL_WRENCH_PERCENT = 3.0
"""How far a wrench may be off its chart where no certificate says so (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class GaugeFacts:
    """The gauge the pressure is set by."""

    accuracy: Accuracy
    range_mpa: float
    graduation_mpa: float


@dataclass(frozen=True, slots=True)
class TorqueUncertainty:
    """A set torque with its expanded uncertainty, against what the joint allows."""

    pressure_mpa: float
    torque_nm: float
    budget: Budget
    expanded_percent: float
    """Expanded uncertainty as a share of the torque."""
    within_tolerance: bool | None
    """Whether it is no more than the joint's tolerance; None when the joint states none."""
    warning: str = SCATTER_WARNING


def torque_uncertainty(
    chart: Chart,
    pressure_mpa: float,
    gauge: GaugeFacts,
    wrench_percent: float,
    others: tuple[Contribution, ...] = (),
    *,
    tolerance_percent: float | None = None,
) -> TorqueUncertainty:
    """Give the expanded uncertainty (95 %) of the torque at a set pressure.

    ``wrench_percent`` is the ± accuracy on the certificate or type plate; ±3 % is usual (common practice, no
    source). ``others`` are further contributions in N·m, such as the reference and the repeatability. Raises
    ``OffTheChart`` for a pressure off the chart or the gauge, ``Unreadable`` for shares that cannot be.
    """
    if not (known(wrench_percent) and (tolerance_percent is None or known(tolerance_percent))):
        raise Unreadable("The accuracy of the wrench and the tolerance of the joint are above 0 %, as in 3.")
    reading = torque_at(chart, pressure_mpa)
    line = _line(chart)
    slope = line.slope if line else reading.torque_nm / reading.pressure_mpa
    off = gauge_error(gauge.accuracy, gauge.range_mpa, reading.pressure_mpa)
    contributions = (
        *((_chart_fit(line, reading.pressure_mpa),) if line else ()),
        within_limits(f"gauge, {gauge.accuracy.name}", slope * off.error_mpa),
        within_limits("reading of the gauge, half a graduation", slope * gauge.graduation_mpa / 2),
        within_limits("accuracy of the wrench", reading.torque_nm * wrench_percent / 100),
        *others,
    )
    budget = add_up(contributions)
    percent = 100 * budget.expanded / reading.torque_nm
    within = None if tolerance_percent is None else not exceeds(percent, tolerance_percent)
    return TorqueUncertainty(reading.pressure_mpa, reading.torque_nm, budget, percent, within)


def _line(chart: Chart) -> LineFit | None:
    """Fit the chart, as a hydraulic wrench is linear in pressure; too few points tell nothing of scatter."""
    if len(chart.points) < FEWEST_FOR_A_FIT:
        return None
    return fit_line([p.pressure_mpa for p in chart.points], [p.torque_nm for p in chart.points])


def _chart_fit(line: LineFit, pressure_mpa: float) -> Contribution:
    """Take the line's own uncertainty and the scatter of single points about it."""
    _, on_line = line.at(pressure_mpa)
    return Contribution("chart", (on_line**2 + line.residual**2) ** 0.5, line.degrees_of_freedom)
