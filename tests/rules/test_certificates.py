"""Certificates judged point by point, and what follows from them."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from fleet.bolting.charts import ChartPoint, make_chart
from fleet.bolting.gauges import read_accuracy
from fleet.refusals import NotFound, NotPossible, OffTheChart, Refusal, Unreadable
from fleet.rules.calibrations import DecisionRule, Result
from fleet.rules.certificate_points import read_point
from fleet.rules.certificates import Agreed, Judged, Reading, Subject, judge_certificate
from fleet.rules.certified import (
    Days,
    calibration_task,
    chart_of,
    check_acceptable,
    check_day,
    check_serial,
    error_at,
)
from fleet.rules.evidence import Stage
from fleet.rules.inspections import TaskFacts

CHART = make_chart([ChartPoint(20, 600), ChartPoint(40, 1200), ChartPoint(70, 2100)], "plate")
WRENCH = Subject("wrench 1001-4", "wrench", CHART, mwp_mpa=70.0)
GAUGE = Subject("gauge 1002-2", "gauge", range_mpa=100.0, accuracy=read_accuracy("1.6"))
FULL = Agreed(DecisionRule.GUARD_FULL, 3.0)
DAY = date(2026, 5, 13)


def judged(*points: str, subject: Subject = WRENCH, agreed: Agreed = FULL, k: float = 2.0) -> Judged:
    readings = [read_point(point, subject.kind) for point in points]
    return judge_certificate(subject, readings, agreed, k)


# --- A wrench -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("torque", "result"),
    [  # ILAC-G8:09/2019, 4.2: TL = 3 % of 1,200 = 36, w = U = 12 N·m: borders at 24, 36 and 48.
        ("1224 N·m", Result.PASS),
        ("1225 N·m", Result.CONDITIONAL_PASS),
        ("1236 N·m", Result.CONDITIONAL_PASS),
        ("1237 N·m", Result.CONDITIONAL_FAIL),
        ("1248 N·m", Result.CONDITIONAL_FAIL),
        ("1249 N·m", Result.FAIL),
        ("1176 N·m", Result.PASS),
        ("1151 N·m", Result.FAIL),
    ],
)
def test_a_wrench_is_judged_by_its_chart_with_the_guard_band(torque: str, result: Result) -> None:
    found = judged(f"as found; 400 bar; {torque}; 12 N·m")
    assert (found.as_found, found.as_left) == (result, None)
    assert found.failed_as_found == (result in {Result.CONDITIONAL_FAIL, Result.FAIL})


def test_between_charted_points_the_chart_is_read() -> None:
    found = judged("as found; 300 bar; 909 N·m; 1 N·m")
    (point,) = found.points
    assert point.verdict.facts.reference == pytest.approx(
        900
    )  # Half way from 600 at 200 to 1,200 at 400 bar.
    assert point.error_percent == pytest.approx(1.0)


def test_a_point_that_its_own_chart_does_not_reach_is_judged_by_its_model_s() -> None:
    own = make_chart([ChartPoint(20, 610), ChartPoint(40, 1210)], "certificate 1")
    subject = Subject("wrench 1001-4", "wrench", own, wider=CHART, mwp_mpa=70.0)
    found = judged("as found; 40 MPa; 1210 N·m; 1 N·m", "as found; 70 MPa; 2100 N·m; 1 N·m", subject=subject)
    assert [point.verdict.facts.reference for point in found.points] == [1210, 2100]


def test_simple_acceptance_needs_no_uncertainty_and_a_guarded_rule_does() -> None:
    simple = Agreed(DecisionRule.SIMPLE, 3.0)
    assert judged("as found; 400 bar; 1235 N·m", agreed=simple).as_found is Result.PASS
    with pytest.raises(Unreadable, match=r"at 400 bar: .*needs the expanded uncertainty"):
        judged("as found; 400 bar; 1200 N·m")


def test_left_decides_and_found_is_kept() -> None:
    found = judged("as found; 400 bar; 1300 N·m; 6 N·m", "as left; 400 bar; 1203 N·m; 6 N·m")
    assert (found.as_found, found.as_left) == (Result.FAIL, Result.PASS)
    assert (found.deciding, found.result, found.failed_as_found) == (Stage.AS_LEFT, Result.PASS, True)
    assert found.sentences[0] == (
        "As found: fail by guard band U; worst at 400 bar: 1300 N·m where its chart gives 1,200 N·m, "
        "+8.33 %, allowed ±3 %."
    )


def test_the_sentence_speaks_the_laboratory_s_unit() -> None:
    found = judged("as found; 400 bar; 885 lbf·ft; 6 lbf·ft")
    assert "885 lbf·ft where its chart gives 885.1 lbf·ft" in found.sentences[0]  # 1,200 N·m by NIST SP 811.


def test_a_guard_band_as_wide_as_the_tolerance_is_said() -> None:
    assert "nothing could pass" in judged("as found; 400 bar; 1200 N·m; 36 N·m").sentences[0]


def test_the_coverage_factor_is_that_of_the_certificate() -> None:
    """The probability of conformance (JCGM 106) with u = U / k, against scipy."""
    found = judged("as found; 400 bar; 1210 N·m; 30 N·m", k=3.0)
    expected = norm.cdf(36, 10, 10) - norm.cdf(-36, 10, 10)
    assert found.points[0].verdict.conformance_probability == pytest.approx(expected)


@pytest.mark.parametrize("k", [0.0, 1.0, 1.59, float("nan")])
def test_a_standard_uncertainty_is_no_expanded_one(k: float) -> None:
    with pytest.raises(Unreadable, match="not an expanded one"):
        judged("as found; 400 bar; 1210 N·m; 30 N·m", k=k)


@pytest.mark.parametrize(
    ("point", "subject", "kind"),
    [
        ("as found; 100 bar; 300 N·m; 3 N·m", WRENCH, OffTheChart),  # Below the chart.
        ("as found; 0 bar; 0 N·m; 3 N·m", WRENCH, OffTheChart),
        ("as found; 700.1 bar; 2100 N·m; 3 N·m", WRENCH, OffTheChart),  # Above the rating.
        ("as found; 400 bar; 1200 N·m; 3 N·m", Subject("wrench", "wrench"), NotPossible),  # No chart.
        ("as found; 1001 bar; 1001 bar; 1 bar", GAUGE, OffTheChart),
        ("as found; 999 bar; 1001 bar; 1 bar", GAUGE, OffTheChart),
        ("as found; 400 bar; 400 bar; 1 bar", Subject("gauge", "gauge"), NotPossible),  # No range.
        ("as found; 400 bar; 400 bar; 1 bar", Subject("hose 1003", "hose"), NotPossible),
    ],
)
def test_points_outside_chart_rating_and_range_are_refused(
    point: str, subject: Subject, kind: type[Refusal]
) -> None:
    with pytest.raises(kind):
        judged(point, subject=subject)


def test_a_certificate_without_points_is_refused() -> None:
    with pytest.raises(Unreadable, match="no points"):
        judge_certificate(WRENCH, [], FULL)


@pytest.mark.parametrize("percent", [0.0, -1.0, 20.1, float("nan"), float("inf")])
def test_a_tolerance_is_a_few_percent(percent: float) -> None:
    with pytest.raises(Unreadable, match="percent"):
        Agreed(DecisionRule.SIMPLE, percent)


# --- A gauge ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("accuracy", "tolerance", "applied", "allowed_bar"),
    [
        ("1.6", 1.6, "400 bar", 16.0),  # EN 837-1: the class is a percentage of the span.
        ("1.6", 1.6, "0 bar", 16.0),
        ("B", 3.0, "500 bar", 20.0),  # ASME B40.100 grade B, 3-2-3 %, from memory.
        ("B", 3.0, "100 bar", 30.0),
        ("B", 3.0, "0 bar", 30.0),
        ("B", 2.5, "500 bar", 25.0),  # Another percentage was chosen.
    ],
)
def test_a_gauge_is_judged_by_its_class(
    accuracy: str, tolerance: float, applied: str, allowed_bar: float
) -> None:
    subject = Subject("gauge", "gauge", range_mpa=100.0, accuracy=read_accuracy(accuracy))
    agreed = Agreed(DecisionRule.SIMPLE, tolerance)
    (point,) = judged(f"as found; {applied}; {applied}; 1 bar", subject=subject, agreed=agreed).points
    assert point.verdict.facts.tolerance * 10 == pytest.approx(allowed_bar)


# --- What follows -------------------------------------------------------------------------------------------


def readings(*pairs: tuple[float, float]) -> list[Reading]:
    return [Reading(Stage.AS_LEFT, f"{at} MPa", at, f"{nm} N·m", nm, 1.0) for at, nm in pairs]


def test_a_chart_is_made_of_the_points_lowest_first() -> None:
    pairs = chart_of(readings((40, 1200), (20, 610), (20, 600)), "certificate 1")
    assert [(one.pressure_mpa, one.torque_nm) for one in pairs] == [(20, 605), (40, 1200)]
    assert pairs[0].torque_written == "605 N·m (mean of 2)"
    assert pairs[1].torque_written == "1200 N·m"


@pytest.mark.parametrize("pairs", [[], [(20, 600)], [(20, 600), (20, 601)]])
def test_one_pressure_makes_no_chart(pairs: list[tuple[float, float]]) -> None:
    with pytest.raises(Unreadable, match="2 pressures or more"):
        chart_of(readings(*pairs), "certificate 1")


def test_a_torque_that_falls_makes_no_chart() -> None:
    with pytest.raises(Unreadable, match="no more torque"):
        chart_of(readings((20, 600), (40, 590)), "certificate 1")


def test_errors_of_a_wrench_lie_on_lines_between_what_was_found() -> None:
    found = judged("as found; 20 MPa; 612 N·m; 1 N·m", "as found; 40 MPa; 1248 N·m; 1 N·m")
    at = error_at("wrench", found.points)
    assert [at(mpa) for mpa in (10, 20, 30, 40, 70, None)] == [pytest.approx(p) for p in (2, 2, 3, 4, 4, 4)]


def test_errors_of_a_gauge_stand_where_it_showed_them() -> None:
    points = ("as found; 0 bar; 2 bar; 1 bar", "as found; 200 bar; 210 bar; 1 bar")
    at = error_at("gauge", judged(*points, subject=GAUGE).points)
    assert at(21.0) == pytest.approx(5.0)
    assert at(None) == pytest.approx(5.0)


def test_what_was_left_says_nothing_about_earlier_work() -> None:
    left = judged("as left; 20 MPa; 630 N·m; 1 N·m", "as left; 40 MPa; 1248 N·m; 1 N·m")
    assert error_at("wrench", left.points)(30) is None


@given(st.floats(20, 70), st.lists(st.floats(-15, 15), min_size=3, max_size=3))
def test_an_interpolated_error_is_never_worse_than_the_worst_found(mpa: float, percents: list[float]) -> None:
    pairs = zip((20.0, 40.0, 70.0), percents, strict=True)
    points = [f"as found; {at} MPa; {at * 30 * (1 + p / 100):.6f} N·m; 1 N·m" for at, p in pairs]
    at = error_at("wrench", judged(*points).points)
    worst = at(None)
    assert worst is not None
    assert abs(at(mpa) or 0.0) <= abs(worst) + 1e-9


def test_the_task_of_a_certificate() -> None:
    calibration, torque = TaskFacts(1, "calibration", "note"), TaskFacts(2, "torque check", "calibration")
    inspection = TaskFacts(3, "yearly inspection", "inspection")
    assert calibration_task("10014", [calibration, inspection], None) is calibration
    assert calibration_task("10014", [calibration, torque], None) is torque
    assert calibration_task("10014", [calibration, torque], "Calibration") is calibration
    with pytest.raises(NotFound):
        calibration_task("10014", [calibration], "paint")
    with pytest.raises(NotPossible, match="not by a certificate"):
        calibration_task("10014", [inspection], "yearly inspection")
    with pytest.raises(NotPossible, match="several tasks"):
        calibration_task("10014", [torque, TaskFacts(4, "gauge check", "calibration")], None)
    with pytest.raises(NotPossible, match="no upkeep task"):
        calibration_task("10014", [inspection], None)


def test_the_serial_number_is_that_of_the_item() -> None:
    check_serial("10014", "HW-1", "hw - 1")
    check_serial("10014", "HW-1", None)
    with pytest.raises(NotPossible, match="another item's"):
        check_serial("10014", "HW-1", "HW-2")


def test_the_day_lies_between_its_borders() -> None:
    days = Days(DAY, DAY - timedelta(9), DAY - timedelta(5), DAY - timedelta(7))
    for back in (0, 5):
        check_day("10014", DAY - timedelta(back), days)
    for back, said in ((-1, "still to come"), (10, "received"), (6, "sent away")):
        with pytest.raises(NotPossible, match=said):
            check_day("10014", DAY - timedelta(back), days)
    with pytest.raises(NotPossible, match="older one changes nothing"):
        check_day("10014", DAY - timedelta(8), Days(DAY, DAY - timedelta(9), None, DAY - timedelta(7)))


def test_a_fail_is_never_accepted_and_a_conditional_pass_needs_its_note() -> None:
    assert check_acceptable(1, "received", "pass", None) is None
    assert check_acceptable(1, "received", "conditional pass", "Drift is small") == "Drift is small"
    for result in (None, "fail", "conditional fail"):
        with pytest.raises(NotPossible, match="cannot be accepted"):
            check_acceptable(1, "received", result, "We need it today")
    with pytest.raises(NotPossible, match="--note"):
        check_acceptable(1, "received", "conditional pass", None)
    for standing in ("accepted", "refused"):
        with pytest.raises(NotPossible, match="decided once"):
            check_acceptable(1, standing, "pass", None)
