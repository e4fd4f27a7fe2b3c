"""Budgets and torques held against the package ``uncertainties``, which differentiates on its own.

It carries standard uncertainties through any formula to first order, as the GUM (JCGM 100, 5.1.2) does, and
knows about correlation. numpy gives the covariance of the fitted chart.
"""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import correlated_values, ufloat, wrap

from fleet.bolting.budgets import GaugeFacts, torque_uncertainty
from fleet.bolting.charts import Chart, ChartPoint, make_chart
from fleet.bolting.gauges import read_accuracy
from fleet.bolting.threads import pitch_diameter_mm, read_thread
from fleet.bolting.tightening import NutFactor, load_for_torque_n
from fleet.bolting.torque import (
    Friction,
    bearing_diameter_mm,
    short_form_torque_nm,
    tightening_load_n,
    tightening_torque_nm,
    turned_back_nm,
)
from fleet.bolting.uncertainty import add_up, fit_line, from_expanded, from_readings, within_limits

STUD = read_thread("1 1/2-8")
GAUGE = GaugeFacts(read_accuracy("1.6"), 100.0, 1.0)
BENCH = make_chart(
    [ChartPoint(*pair) for pair in ((10, 1340), (30, 4100), (50, 6620), (70, 9400))], "bench sheet 4"
)


def limits(half_width: float) -> Any:  # noqa: ANN401  The package has no types.
    """A value of nothing, within limits (GUM 4.3.7)."""
    return ufloat(0, half_width / math.sqrt(3))


def fitted(chart: Chart) -> tuple[Any, Any, float]:
    """Slope and intercept of a chart with their covariance, and the scatter about the line, by numpy."""
    x = np.array([point.pressure_mpa for point in chart.points])
    y = np.array([point.torque_nm for point in chart.points])
    best, covariance = np.polyfit(x, y, 1, cov=True)
    scatter = math.sqrt(float(np.sum((y - np.polyval(best, x)) ** 2)) / (len(x) - 2))
    slope, intercept = correlated_values(best, covariance)
    return slope, intercept, scatter


@pytest.mark.parametrize("pressure", [10.0, 24.0, 35.0, 50.0, 70.0])
def test_a_torque_on_a_bench_chart_is_as_uncertain_as_its_formula(pressure: float) -> None:
    slope, intercept, scatter = fitted(BENCH)
    allowed, half_a_graduation = 1.6, 0.5
    read = pressure + limits(allowed) + limits(half_a_graduation)
    torque = (intercept + slope * read) + ufloat(0, scatter)
    on_chart = float(np.interp(pressure, (10, 30, 50, 70), (1340, 4100, 6620, 9400)))
    set_torque = torque + on_chart * limits(0.03)

    found = torque_uncertainty(BENCH, pressure, GAUGE, 3.0)

    assert found.pressure_mpa == pressure
    assert found.torque_nm == pytest.approx(on_chart)
    assert found.budget.combined == pytest.approx(set_torque.std_dev, rel=1e-9)
    chart = found.budget.contributions[0]
    assert chart.name == "chart"
    assert chart.standard == pytest.approx(math.hypot((intercept + slope * pressure).std_dev, scatter))


@pytest.mark.parametrize("points", [1, 2])
def test_a_chart_of_one_or_two_points_has_the_slope_of_its_own_line_through_zero(points: int) -> None:
    chart = make_chart([ChartPoint(35.0, 4690.0), ChartPoint(70.0, 9500.0)][-points:], "plate")
    torque = float(np.interp(50.0, (35.0, 70.0), (4690.0, 9500.0))) if points > 1 else 9500 * 50 / 70
    read = 50.0 + limits(1.6) + limits(0.5)
    by_formula = (torque / 50.0) * read + torque * limits(0.03)

    found = torque_uncertainty(chart, 50.0, GAUGE, 3.0)

    assert found.torque_nm == pytest.approx(torque)
    assert found.budget.combined == pytest.approx(by_formula.std_dev)
    assert [one.name for one in found.budget.contributions if one.name == "chart"] == []


def test_three_points_are_enough_for_a_line_and_its_scatter() -> None:
    chart = make_chart([ChartPoint(20, 2650), ChartPoint(40, 5400), ChartPoint(70, 9380)], "bench")
    slope, intercept, scatter = fitted(chart)
    on_line = (intercept + slope * 35.0).std_dev

    first = torque_uncertainty(chart, 35.0, GAUGE, 3.0).budget.contributions[0]

    assert first.standard == pytest.approx(math.hypot(on_line, scatter))
    assert first.degrees_of_freedom == 1


@given(st.floats(-50, 150), st.floats(-30, 30))
def test_a_line_is_known_as_well_as_the_covariance_says(x: float, origin: float) -> None:
    slope, intercept, _ = fitted(BENCH)
    line = fit_line(
        [point.pressure_mpa for point in BENCH.points], [point.torque_nm for point in BENCH.points], origin
    )
    value, standard = line.at(x)
    by_formula = intercept + slope * x
    assert value == pytest.approx(by_formula.nominal_value, abs=1e-6)
    assert standard == pytest.approx(by_formula.std_dev, rel=1e-6)
    assert line.u_slope == pytest.approx(slope.std_dev)
    assert line.u_intercept == pytest.approx((intercept + slope * origin).std_dev)


@given(st.lists(st.floats(0.1, 100), min_size=1, max_size=6))
def test_independent_contributions_add_as_the_package_adds_them(standards: list[float]) -> None:
    total = sum(ufloat(0, standard) for standard in standards)
    budget = add_up([within_limits("x", standard * math.sqrt(3)) for standard in standards])
    assert budget.combined == pytest.approx(total.std_dev)
    shares = [budget.share_percent(one) for one in budget.contributions]
    assert sum(shares) == pytest.approx(100)
    by_package = sorted(100 * part**2 / total.std_dev**2 for part in total.error_components().values())
    assert sorted(shares) == pytest.approx(by_package)


def test_each_kind_of_contribution_keeps_its_name_and_its_freedom() -> None:
    readings = from_readings("repeatability", [4650.0, 4700.0, 4720.0])
    assert (readings.name, readings.degrees_of_freedom) == ("repeatability", 2)
    assert readings.standard == pytest.approx(float(np.std([4650, 4700, 4720], ddof=1)) / math.sqrt(3))
    certificate = from_expanded("reference", 47.0)
    assert (certificate.name, certificate.standard) == ("reference", 23.5)
    assert math.isinf(certificate.degrees_of_freedom)
    assert within_limits("gauge", math.sqrt(3)).standard == pytest.approx(1)


# --- Torque and bolt load -----------------------------------------------------------------------------------

DE = bearing_diameter_mm(STUD, 60.325)


# By hand from T = F/2·(P/π + μt·d2/cos 30° + μn·De) (ISO 16047): ∂T/∂F = T/F, ∂T/∂μt = F·d2/(2·cos 30°),
# ∂T/∂μn = F·De/2.
def test_the_long_form_has_the_derivatives_of_iso_16047() -> None:
    load, in_thread, under_nut = ufloat(348_400, 1), ufloat(0.12, 1), ufloat(0.14, 1)
    friction: Any = Friction(in_thread, under_nut, DE)
    torque: Any = tightening_torque_nm(STUD, load, friction)
    slopes = torque.derivatives
    assert slopes[load] == pytest.approx(torque.nominal_value / 348_400)
    d2 = pitch_diameter_mm(STUD)
    assert slopes[in_thread] == pytest.approx(348.4 * d2 / (2 * math.cos(math.pi / 6)))
    assert slopes[under_nut] == pytest.approx(348.4 * DE / 2)


@given(st.floats(0.05, 0.4), st.floats(0.05, 0.4), st.floats(1e3, 2e6))
def test_more_friction_costs_torque_and_the_load_follows_the_torque(
    in_thread: float, under_nut: float, load: float
) -> None:
    mu_t, mu_n = ufloat(in_thread, 0.01), ufloat(under_nut, 0.01)
    friction: Any = Friction(mu_t, mu_n, DE)
    torque: Any = tightening_torque_nm(STUD, load, friction)
    reached: Any = tightening_load_n(STUD, torque.nominal_value, friction)
    # The relative scatter of the load at one torque is that of the torque at one load: T = F·arm.
    assert reached.nominal_value == pytest.approx(load)
    assert reached.std_dev / load == pytest.approx(torque.std_dev / torque.nominal_value)


def test_the_short_form_is_as_uncertain_as_its_nut_factor() -> None:
    factor = ufloat(0.2, 0.02)
    torque: Any = wrap(lambda k: short_form_torque_nm(k, STUD, 348_400))(factor)
    assert torque.nominal_value == pytest.approx(0.2 * 38.1 * 348.4)
    assert torque.std_dev / torque.nominal_value == pytest.approx(0.1)
    load: Any = wrap(lambda k: load_for_torque_n(STUD, torque.nominal_value, NutFactor(k)))(factor)
    assert load.nominal_value == pytest.approx(348_400)
    assert load.std_dev / load.nominal_value == pytest.approx(0.1)


def test_turning_back_gives_the_pitch_work_of_the_load_again() -> None:
    load, torque = ufloat(348_400, 1), ufloat(2655, 1)
    back: Any = turned_back_nm(STUD, load, torque)
    assert back.derivatives[torque] == 1
    assert back.derivatives[load] == pytest.approx(-25.4 / 8 / math.pi / 1000)
