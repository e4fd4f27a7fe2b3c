"""A calibration certificate, judged point by point against the item that it is of.

A wrench is judged by its chart: at a set pressure its torque may differ from the chart's by a percentage of
it. A gauge is judged by its class: it may be off by a percentage of its span (EN 837-1). The decision rule
and the tolerance are chosen before the certificate is seen (ISO/IEC 17025:2017, 7.1.3 and 7.8.6).
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from fleet.bolting.charts import Chart, torque_at
from fleet.bolting.figures import SI, Units, exceeds, known
from fleet.bolting.gauges import Accuracy, gauge_error
from fleet.bolting.parts import Kind
from fleet.measures.units import Kind as Measured
from fleet.measures.units import find_unit
from fleet.refusals import NotPossible, OffTheChart, Unreadable
from fleet.rules.calibrations import DecisionRule, PointFacts, PointVerdict, Result, judge_point
from fleet.rules.evidence import Stage

LEAST_COVERAGE = 1.6
"""The least coverage factor that can stand for about 95 %: that of a rectangular distribution is 1.65
(EA-4/02, example S9, from memory)."""

MOST_TOLERANCE_PERCENT = 20.0

_UNIT = re.compile(r"[^\W\d_].*")

FAILED = frozenset({Result.CONDITIONAL_FAIL, Result.FAIL})
"""An error beyond its tolerance: a conditional fail too, since it is more likely out than in."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One point of a certificate as written, and in MPa and N·m.

    Wrench: ``at`` is the set pressure and ``found`` the torque it gave. Gauge: ``at`` is the pressure applied
    and ``found`` what the gauge showed, in MPa. ``expanded_si`` is in the unit of ``found_si``.
    """

    stage: Stage
    at_written: str
    at_mpa: float
    found_written: str
    found_si: float
    expanded_si: float | None


@dataclass(frozen=True, slots=True)
class Certificate:
    """What a certificate says; what it does not say is None."""

    number: str | None
    laboratory: str | None
    accreditation: str | None
    calibrated_on: date | None
    serial: str | None
    coverage_factor: float | None
    readings: tuple[Reading, ...]


@dataclass(frozen=True, slots=True)
class Subject:
    """The item that was calibrated; what is not on record is None."""

    label: str
    kind: str
    chart: Chart | None = None
    """A wrench: its own chart now, or its model's."""
    wider: Chart | None = None
    """A wrench: its model's chart, for points that its own does not reach."""
    mwp_mpa: float | None = None
    range_mpa: float | None = None
    accuracy: Accuracy | None = None
    units: Units = SI


@dataclass(frozen=True, slots=True)
class Agreed:
    """What was chosen before: percent of the chart's torque for a wrench, of the span for a gauge."""

    rule: DecisionRule
    tolerance_percent: float

    def __post_init__(self) -> None:
        if not 0 < self.tolerance_percent <= MOST_TOLERANCE_PERCENT:
            raise Unreadable(
                f"A tolerance of {self.tolerance_percent:g} % cannot be meant; write it in percent, as in 3."
            )


@dataclass(frozen=True, slots=True)
class JudgedPoint:
    """One point and what it comes to; errors in percent of the chart's torque, or of a gauge's span."""

    reading: Reading
    verdict: PointVerdict
    error_percent: float
    allowed_percent: float


@dataclass(frozen=True, slots=True)
class Judged:
    """A whole certificate, as found and as left; None where it has no such points."""

    points: tuple[JudgedPoint, ...]
    as_found: Result | None
    as_left: Result | None
    sentences: tuple[str, ...]

    @property
    def failed_as_found(self) -> bool:
        """Whether a measured error passed its tolerance: then all earlier work must be looked at."""
        return self.as_found in FAILED

    @property
    def deciding(self) -> Stage:
        """The points by which the item goes on: as left, or as found when it was not adjusted."""
        return Stage.AS_LEFT if self.as_left else Stage.AS_FOUND

    @property
    def result(self) -> Result | None:
        """What the deciding points come to."""
        return self.as_left or self.as_found

    def at(self, stage: Stage) -> tuple[JudgedPoint, ...]:
        """The points of one stage."""
        return tuple(point for point in self.points if point.reading.stage is stage)


def default_tolerance(subject: Subject) -> float | None:
    """A gauge's tolerance by its class or grade, in percent of span; a wrench has none by itself."""
    return subject.accuracy.upper_percent if subject.kind == Kind.GAUGE and subject.accuracy else None


def judge_certificate(
    subject: Subject, readings: Sequence[Reading], agreed: Agreed, coverage_factor: float = 2.0
) -> Judged:
    """Judge every point as found and as left.

    Raises ``OffTheChart`` for a point outside the chart, the range or the maximum working pressure,
    ``Unreadable`` for figures that cannot be, and ``NotPossible`` for a kind that is not judged by points.
    """
    if subject.kind not in (Kind.WRENCH, Kind.GAUGE):
        raise NotPossible(
            f"{subject.label} is a {subject.kind}: only wrenches and gauges are judged by calibrated points."
        )
    if not readings:
        raise Unreadable("The certificate has no points: it needs at least one, as found or as left.")
    if not coverage_factor >= LEAST_COVERAGE:
        raise Unreadable(
            f"An uncertainty with a coverage factor of {coverage_factor:g} is not an expanded one: "
            "ask the laboratory for the expanded uncertainty (about 95 %, mostly k = 2)."
        )
    judged = tuple(_judge(subject, reading, agreed, coverage_factor) for reading in readings)
    results = {stage: _worst(judged, stage) for stage in Stage}
    sentences = tuple(
        _sentence(subject, stage, worst, agreed.rule) for stage, worst in results.items() if worst
    )
    found, left = (results[stage] for stage in (Stage.AS_FOUND, Stage.AS_LEFT))
    return Judged(
        judged, found.verdict.result if found else None, left.verdict.result if left else None, sentences
    )


def _judge(subject: Subject, reading: Reading, agreed: Agreed, coverage_factor: float) -> JudgedPoint:
    if subject.kind == Kind.WRENCH:
        reference = _charted(subject, reading)
        allowed_percent, whole = agreed.tolerance_percent, reference
    else:
        reference, whole = reading.at_mpa, _span(subject, reading)
        allowed_percent = _gauge_percent(subject, reading, agreed.tolerance_percent)
    facts = PointFacts(reference, reading.found_si, allowed_percent / 100 * whole, reading.expanded_si)
    try:
        verdict = judge_point(facts, agreed.rule, coverage_factor)
    except Unreadable as refusal:
        raise Unreadable(f"The point {reading.stage} at {reading.at_written}: {refusal}") from refusal
    return JudgedPoint(reading, verdict, 100 * verdict.error / whole, allowed_percent)


def _charted(subject: Subject, reading: Reading) -> float:
    if subject.chart is None:
        raise NotPossible(
            f"{subject.label} has no pressure-torque chart on record, so its torque cannot be judged; "
            "import its model's chart first."
        )
    if subject.mwp_mpa is not None and exceeds(reading.at_mpa, subject.mwp_mpa):
        raise OffTheChart(
            f"The point {reading.stage} at {reading.at_written} lies above the maximum working pressure of "
            f"{subject.label}, {subject.units.rating(subject.mwp_mpa)}."
        )
    own_reaches = _reaches(subject.chart, reading.at_mpa)
    chart = subject.chart if own_reaches or subject.wider is None else subject.wider
    try:
        return torque_at(chart, reading.at_mpa, subject.units).torque_nm
    except OffTheChart as refusal:
        raise OffTheChart(f"The point {reading.stage} at {reading.at_written}: {refusal}") from refusal


def _reaches(chart: Chart, pressure_mpa: float) -> bool:
    return not (
        exceeds(pressure_mpa, chart.top.pressure_mpa) or exceeds(chart.bottom.pressure_mpa, pressure_mpa)
    )


def _span(subject: Subject, reading: Reading) -> float:
    if not known(subject.range_mpa):
        raise NotPossible(f"The range of {subject.label} is not on record, so it cannot be judged.")
    for pressure in (reading.at_mpa, reading.found_si):
        if exceeds(pressure, subject.range_mpa):
            raise OffTheChart(
                f"The point {reading.stage} at {reading.at_written} lies outside the range of "
                f"{subject.label}, which ends at {subject.units.rating(subject.range_mpa)}."
            )
    return subject.range_mpa


def _gauge_percent(subject: Subject, reading: Reading, tolerance_percent: float) -> float:
    """The chosen percentage of span; a grade that was chosen as it stands allows less in the middle half."""
    accuracy = subject.accuracy
    if accuracy is None or accuracy.upper_percent != tolerance_percent or subject.range_mpa is None:
        return tolerance_percent
    if not known(reading.at_mpa):
        return accuracy.lower_percent
    return 100 * gauge_error(accuracy, subject.range_mpa, reading.at_mpa).error_mpa / subject.range_mpa


def _worst(judged: Iterable[JudgedPoint], stage: Stage) -> JudgedPoint | None:
    order = list(Result)
    of_stage = [point for point in judged if point.reading.stage is stage]
    return max(
        of_stage,
        key=lambda one: (order.index(one.verdict.result), abs(one.error_percent) / one.allowed_percent),
        default=None,
    )


def _sentence(subject: Subject, stage: Stage, worst: JudgedPoint, rule: DecisionRule) -> str:
    reading, wrench = worst.reading, subject.kind == Kind.WRENCH
    should = _like(reading, worst.verdict.facts.reference) if wrench else reading.at_written
    said = f"where its chart gives {should}" if wrench else f"with {should} applied"
    whole = "" if wrench else " of span"
    sentence = (
        f"{stage.capitalize()}: {worst.verdict.result} by {rule}; worst at {reading.at_written}: "
        f"{reading.found_written} {said}, {worst.error_percent:+.2f} %{whole}, "
        f"allowed ±{worst.allowed_percent:g} %."
    )
    if worst.verdict.acceptance_limit <= 0:
        sentence += " The guard band is as wide as the tolerance: nothing could pass at this laboratory."
    return sentence


def _like(reading: Reading, torque_nm: float) -> str:
    """A torque in the unit in which the laboratory wrote what it found."""
    written = _UNIT.search(reading.found_written)
    unit = find_unit(written.group()) if written else None
    return Units(torque=unit.label if unit and unit.kind is Measured.TORQUE else "N·m").target(torque_nm)
