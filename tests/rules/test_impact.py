"""What a bad calibration means for one joint. The charts are invented; the figures are worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.charts import ChartPoint, make_chart
from fleet.rules.impact import Touched, judge_touched, review_due, set_pressure, torque_error_of_gauge

DAY = date(2026, 5, 13)
# Through zero: 30 N·m per MPa.
STRAIGHT = make_chart([ChartPoint(10.0, 300.0), ChartPoint(70.0, 2100.0)], "plate")
# Not through zero: 40 N·m per MPa from 20 MPa and 600 N·m on.
STEEP = make_chart([ChartPoint(20.0, 600.0), ChartPoint(70.0, 2600.0)], "certificate 9")
JOINT = Touched(1, 1, "Fin Fitter", 1, "J-1", 1, "A1", 1200.0, 5.0, DAY, DAY, 40, charts=(STRAIGHT,))


def test_a_wrenchs_error_at_the_set_pressure_is_the_torques() -> None:
    (judged,) = judge_touched("wrench", [JOINT], lambda pressure: -(pressure or 0) / 10)
    assert judged.pressure_mpa == pytest.approx(40.0)
    assert judged.error_percent == pytest.approx(-4.0)
    assert judged.out_of_tolerance is False


@pytest.mark.parametrize(("error", "out"), [(5.0, False), (-5.1, True), (5.1, True), (None, None)])
def test_beyond_its_tolerance_is_said_either_way(error: float | None, out: bool | None) -> None:
    (judged,) = judge_touched("wrench", [JOINT], lambda _pressure: error)
    assert judged.out_of_tolerance is out


def test_a_joint_without_a_tolerance_is_neither_in_nor_out() -> None:
    (judged,) = judge_touched("wrench", [replace(JOINT, tolerance_percent=None)], lambda _pressure: -50.0)
    assert judged.out_of_tolerance is None


@pytest.mark.parametrize("charts", [(), (STRAIGHT,)])
def test_an_unknown_pressure_asks_for_the_worst_error(charts: tuple[object, ...]) -> None:
    # Without a chart, and with a torque that lies above it.
    unknown = replace(JOINT, charts=charts, target_torque_nm=9000.0)  # type: ignore[arg-type]
    asked: list[float | None] = []

    def error_at(pressure: float | None) -> float:
        asked.append(pressure)
        return 7.0

    (judged,) = judge_touched("wrench", [unknown], error_at)
    assert (judged.pressure_mpa, judged.error_percent, asked) == (None, 7.0, [None])


def test_a_gauge_that_showed_too_much_left_too_little_torque() -> None:
    # It showed 40 MPa where 40 / 1.25 = 32 MPa was applied: 960 N·m instead of 1200, on the other chart
    # 600 + 40 x 12 = 1080 instead of 600 + 40 x 20 = 1400.
    assert torque_error_of_gauge(STRAIGHT, 40.0, 25.0) == pytest.approx(-20.0)
    assert torque_error_of_gauge(STEEP, 40.0, 25.0) == pytest.approx((1080 / 1400 - 1) * 100)


def test_a_gauge_that_showed_too_little_left_too_much_torque() -> None:
    assert torque_error_of_gauge(STRAIGHT, 40.0, -20.0) == pytest.approx(25.0)


def test_off_the_chart_torque_goes_with_pressure() -> None:
    # 68 / 0.8 = 85 MPa lies above both charts.
    assert torque_error_of_gauge(STEEP, 68.0, -20.0) == pytest.approx(25.0)
    assert torque_error_of_gauge(None, None, 25.0) == pytest.approx(-20.0)


def test_of_several_wrenches_the_worst_counts() -> None:
    both = replace(JOINT, charts=(STRAIGHT, STEEP))
    (judged,) = judge_touched("gauge", [both], lambda _pressure: 5.0)
    alone = [
        judge_touched("gauge", [replace(JOINT, charts=(chart,))], lambda _pressure: 5.0)[0]
        for chart in (STRAIGHT, STEEP)
    ]
    assert abs(judged.error_percent or 0) == max(abs(one.error_percent or 0) for one in alone)


def test_what_cannot_be_wrong_by_itself_has_no_error_but_its_pressure() -> None:
    (judged,) = judge_touched("pump", [JOINT], lambda _pressure: None)
    assert judged.pressure_mpa == pytest.approx(40.0)
    assert judged.error_percent is None


@given(st.floats(21.0, 60.0), st.floats(-10.0, 10.0))
def test_the_torque_at_the_true_pressure_is_what_the_error_says(pressure: float, error: float) -> None:
    found = torque_error_of_gauge(STEEP, pressure, error)
    true = pressure / (1 + error / 100)
    if 20.0 <= true <= 70.0:
        meant, given_ = 600 + 40 * (pressure - 20), 600 + 40 * (true - 20)
        assert found == pytest.approx((given_ / meant - 1) * 100)
    assert (found < 0) == (error > 0) or found == pytest.approx(0.0)


def test_the_set_pressure_is_none_off_the_chart() -> None:
    assert set_pressure(STRAIGHT, 1500.0) == pytest.approx(50.0)
    assert set_pressure(STRAIGHT, 2101.0) is None
    assert set_pressure(STRAIGHT, None) is None


def test_a_review_is_due_two_weeks_on() -> None:
    assert review_due(date(2026, 12, 25)) == date(2027, 1, 8)
