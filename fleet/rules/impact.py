"""What a bad calibration means for one joint: the pressure that was set, and the torque error it implies.

A wrench that gave e percent too much torque left e percent too much in the bolts. A gauge that showed e
percent too much was believed: the true pressure was lower, and the torque is read off the chart there.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from fleet.bolting.charts import Chart, pressure_for, torque_at
from fleet.bolting.parts import Kind
from fleet.refusals import OffTheChart

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    ErrorAt = Callable[[float | None], float | None]

# How long a safety officer has to decide. Common practice, no source: two weeks.
REVIEW_DAYS = 14


@dataclass(frozen=True, slots=True)
class Touched:
    """One loan, job and joint that an item served. Torque in N·m; empty where nothing is on record.

    ``cycles`` are those of the whole loan where the joint they were spent on is not known. ``charts`` are
    those in force at the time: the wrench's own, or those of the wrenches that worked with it.
    """

    loan_line_id: int | None
    loan: int | None
    borrower: str | None
    job_id: int | None
    job: str | None
    joint_id: int | None
    joint: str | None
    target_torque_nm: float | None
    tolerance_percent: float | None
    first_on: date
    last_on: date
    cycles: int
    minutes: int = 0
    charts: tuple[Chart, ...] = ()


@dataclass(frozen=True, slots=True)
class Judged:
    """What was touched, with the pressure that was set in MPa and the torque error it implies in percent."""

    touched: Touched
    pressure_mpa: float | None
    error_percent: float | None

    @property
    def out_of_tolerance(self) -> bool | None:
        """Whether the torque error alone is more than the joint allows; None when either is unknown."""
        if self.error_percent is None or self.touched.tolerance_percent is None:
            return None
        return abs(self.error_percent) > self.touched.tolerance_percent


def review_due(opened_on: date) -> date:
    """The day by which every line of a review is to be decided."""
    return opened_on + timedelta(days=REVIEW_DAYS)


def judge_touched(kind: str, touched: Iterable[Touched], error_at: ErrorAt) -> list[Judged]:
    """Judge each touched joint; of several wrenches that may have done it, the worst counts.

    ``error_at`` answers, at a pressure in MPa (None: wherever it is worst), a wrench's torque error or a
    gauge's own error (shown less applied), in percent; None when nothing is known.
    """
    return [_judge(kind, one, error_at) for one in touched]


def _judge(kind: str, one: Touched, error_at: ErrorAt) -> Judged:
    found = [_with_chart(kind, one, chart, error_at) for chart in one.charts]
    known = [judged for judged in found if judged.error_percent is not None]
    if known:
        return max(known, key=lambda judged: abs(judged.error_percent or 0.0))
    return found[0] if found else Judged(one, None, _torque_error(kind, None, None, error_at(None)))


def _with_chart(kind: str, one: Touched, chart: Chart, error_at: ErrorAt) -> Judged:
    pressure = set_pressure(chart, one.target_torque_nm)
    return Judged(one, pressure, _torque_error(kind, chart, pressure, error_at(pressure)))


def set_pressure(chart: Chart, torque_nm: float | None) -> float | None:
    """The pressure in MPa that the chart gives for this torque; None off the chart or without a torque."""
    if torque_nm is None:
        return None
    try:
        return pressure_for(chart, torque_nm).pressure_mpa
    except OffTheChart:
        return None


def _torque_error(
    kind: str, chart: Chart | None, pressure_mpa: float | None, error: float | None
) -> float | None:
    if error is None or kind != Kind.GAUGE:
        return error
    return torque_error_of_gauge(chart, pressure_mpa, error)


def torque_error_of_gauge(chart: Chart | None, pressure_mpa: float | None, gauge_percent: float) -> float:
    """The torque error in percent when a gauge that is ``gauge_percent`` off showed ``pressure_mpa``.

    The gauge shows p = applied x (1 + e), so p / (1 + e) was applied, and the chart is read there. Off the
    chart, or without one, torque goes with pressure.
    """
    share = 1.0 / (1.0 + gauge_percent / 100.0)
    if chart is not None and pressure_mpa is not None:
        try:
            meant = torque_at(chart, pressure_mpa).torque_nm
            return (torque_at(chart, pressure_mpa * share).torque_nm / meant - 1.0) * 100.0
        except OffTheChart:
            pass
    return (share - 1.0) * 100.0
