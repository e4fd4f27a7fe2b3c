"""How an item's calibrated points move over time, and what interval that speaks for."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from statistics import fmean

from fleet.bolting.parts import Kind
from fleet.measures.times import show_day
from fleet.refusals import Unreadable
from fleet.rules.evidence import Stage
from fleet.rules.intervals import ChartedResult, IntervalPolicy, Proposal, control_chart


class Method(StrEnum):
    """How an interval is proposed from the register; in-service checks are not kept there."""

    TEST = "test"
    STAIRCASE = "staircase"
    CONTROL_CHART = "control chart"
    IN_USE = "in-use time"


SAME_NOMINAL = 0.02
"""Pressures that differ by no more than this share are readings at one nominal pressure (no source)."""

DAYS_IN_A_MONTH = 365.2425 / 12


@dataclass(frozen=True, slots=True)
class DriftPoint:
    """One point of one certificate. Errors, uncertainty and tolerance in percent of ``Drift.of``."""

    calibration: int
    certificate: str
    calibrated_on: date
    stage: Stage
    at_mpa: float
    found_si: float
    error_percent: float
    expanded_percent: float | None
    tolerance_percent: float
    result: str

    @property
    def share(self) -> float:
        """The error over its tolerance, signed."""
        return self.error_percent / self.tolerance_percent


@dataclass(frozen=True, slots=True)
class Nominal:
    """All readings at one nominal pressure, oldest first."""

    at_mpa: float
    points: tuple[DriftPoint, ...]


@dataclass(frozen=True, slots=True)
class Drift:
    """The points of all certificates of one item that were not refused."""

    tag: str
    kind: str
    of: str
    """What the percentages are of."""
    nominals: tuple[Nominal, ...]

    @property
    def points(self) -> tuple[DriftPoint, ...]:
        """Every point."""
        return tuple(point for nominal in self.nominals for point in nominal.points)


def drift_of(tag: str, kind: str, points: Iterable[DriftPoint]) -> Drift:
    """Put the points of an item together by nominal pressure, lowest first."""
    groups: list[list[DriftPoint]] = []
    for point in sorted(points, key=lambda one: one.at_mpa):
        if groups and point.at_mpa - groups[-1][0].at_mpa <= SAME_NOMINAL * groups[-1][0].at_mpa:
            groups[-1].append(point)
        else:
            groups.append([point])
    of = "the chart's torque" if kind == Kind.WRENCH else "the span"
    nominals = tuple(Nominal(group[0].at_mpa, tuple(sorted(group, key=_by_day))) for group in groups)
    return Drift(tag, kind, of, nominals)


def _by_day(point: DriftPoint) -> tuple[date, int, bool]:
    return point.calibrated_on, point.calibration, point.stage is Stage.AS_LEFT


def shares_as_found(drift: Drift) -> list[float]:
    """The worst share of tolerance of each certificate as found, newest last."""
    worst: dict[tuple[date, int], float] = {}
    for point in drift.points:
        if point.stage is Stage.AS_FOUND:
            when = (point.calibrated_on, point.calibration)
            worst[when] = max(worst.get(when, 0.0), abs(point.share))
    return [worst[when] for when in sorted(worst)]


def propose_by_drift(
    current: int,
    drift: Drift,
    policy: IntervalPolicy,
    *,
    charted: Callable[[float], float | None],
    confidence: float = 0.95,
) -> Proposal:
    """Propose by the control chart, for the nominal pressure at which it asks for the shortest interval.

    A wrench is looked at against its chart of today (``charted``: set pressure in MPa to N·m), since it is
    that chart which has to hold until the next calibration; a gauge against the pressure applied. An
    adjustment begins the series afresh, from the points as left. Raises ``Unreadable`` when no pressure has
    three results.
    """
    proposals = []
    for nominal in drift.nominals:
        series = _series(nominal.points, drift.kind, charted)
        if len(series) >= 3:  # noqa: PLR2004  A line through two points leaves nothing to judge it by.
            first, last = series[0][0], series[-1][0]
            results = [ChartedResult((on - first).days / DAYS_IN_A_MONTH, share) for on, share in series]
            said = f"at {nominal.at_mpa * 10:.0f} bar from {show_day(first)} to {show_day(last)}, "
            made = control_chart(current, results, policy, confidence)
            proposals.append(Proposal(made.interval, made.unit, made.method, said + made.evidence))
    if not proposals:
        raise Unreadable(
            "A control chart needs three calibrations at the same pressure without an adjustment in between."
        )
    return min(proposals, key=lambda one: one.interval)


def _series(
    points: Sequence[DriftPoint], kind: str, charted: Callable[[float], float | None]
) -> list[tuple[date, float]]:
    """One share of tolerance per day, since the last adjustment."""
    series: dict[date, float] = {}
    by_certificate: dict[tuple[date, int], dict[Stage, list[float]]] = {}
    for point in points:
        share = point.share
        if kind == Kind.WRENCH:
            now = charted(point.at_mpa)
            if now is None:
                continue
            share = 100 * (point.found_si / now - 1) / point.tolerance_percent
        stages = by_certificate.setdefault((point.calibrated_on, point.calibration), {})
        stages.setdefault(point.stage, []).append(share)
    for (on, _), stages in sorted(by_certificate.items()):
        if Stage.AS_LEFT in stages:
            series = {on: fmean(stages[Stage.AS_LEFT])}
        else:
            series[on] = fmean(stages[Stage.AS_FOUND])
    return sorted(series.items())
