"""Uncertainty against the worked examples of the GUM, and numpy as reference library."""

import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.uncertainty import (
    Contribution,
    add_up,
    fit_line,
    from_expanded,
    from_readings,
    within_limits,
)
from fleet.refusals import Unreadable

# GUM H.3, table H.6: readings of a thermometer in °C and the corrections found.
READINGS = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
CORRECTIONS = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)


def test_the_thermometer_of_gum_h_3() -> None:
    line = fit_line(READINGS, CORRECTIONS, origin=20.0)
    assert line.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert line.u_intercept == pytest.approx(0.0029, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert line.u_slope == pytest.approx(0.00067, abs=5e-6)
    assert line.correlation == pytest.approx(-0.930, abs=5e-4)
    assert line.residual == pytest.approx(0.0035, abs=5e-5)
    assert line.degrees_of_freedom == 9
    correction, uncertainty = line.at(30.0)
    assert correction == pytest.approx(-0.1494, abs=5e-5)
    assert uncertainty == pytest.approx(0.0041, abs=5e-5)


# GUM H.1, table H.1 (from memory): contributions in nm and their degrees of freedom.
def test_the_end_gauge_of_gum_h_1() -> None:
    budget = add_up(
        [
            Contribution("standard", 25, 18),
            Contribution("difference of lengths", 9.7, 25.6),
            Contribution("difference of expansion", 2.9, 50),
            Contribution("difference of temperature", 16.6, 2),
        ],
        confidence=0.99,
    )
    assert budget.combined == pytest.approx(32, abs=0.5)
    assert math.floor(budget.degrees_of_freedom) == 16
    assert budget.coverage_factor == pytest.approx(2.92, abs=0.005)
    assert budget.expanded == pytest.approx(93, abs=0.6)


@given(
    st.lists(st.floats(min_value=1, max_value=100), min_size=4, max_size=20, unique_by=lambda x: round(x, 1)),
    st.floats(min_value=-200, max_value=200),
    st.integers(min_value=0, max_value=2**31),
)
def test_a_line_agrees_with_numpy(xs: list[float], slope: float, seed: int) -> None:
    scatter = np.random.default_rng(seed).normal(size=len(xs))
    ys = [5 + slope * x + float(e) for x, e in zip(xs, scatter, strict=True)]
    line = fit_line(xs, ys)
    (np_slope, np_intercept), covariance = np.polyfit(xs, ys, 1, cov=True)
    assert line.slope == pytest.approx(np_slope, rel=1e-6, abs=1e-8)
    assert line.intercept == pytest.approx(np_intercept, rel=1e-6, abs=1e-6)
    assert line.u_slope == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-5)
    assert line.u_intercept == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-5)
    assert line.correlation * line.u_slope * line.u_intercept == pytest.approx(covariance[0, 1], rel=1e-4)


def test_moving_the_origin_moves_neither_value_nor_uncertainty() -> None:
    near, far = fit_line(READINGS, CORRECTIONS, 20.0), fit_line(READINGS, CORRECTIONS, 0.0)
    assert near.at(24.0) == pytest.approx(far.at(24.0), rel=1e-6)


def test_limits_certificates_and_readings_become_standard_uncertainties() -> None:
    assert within_limits("gauge", 16).standard == pytest.approx(16 / math.sqrt(3))
    assert from_expanded("reference", 4.0).standard == 2.0
    # GUM 4.2.3: the mean of n readings has their deviation over √n.
    repeat = from_readings("repeatability", [98, 102, 98, 102])
    assert repeat.standard == pytest.approx(math.sqrt(16 / 3) / 2)
    assert repeat.degrees_of_freedom == 3


def test_many_limits_together_are_expanded_by_the_normal_factor() -> None:
    budget = add_up([within_limits("a", 3), within_limits("b", 4)])
    assert budget.combined == pytest.approx(5 / math.sqrt(3))
    assert math.isinf(budget.degrees_of_freedom)
    assert budget.coverage_factor == pytest.approx(1.96, abs=1e-4)
    assert [budget.share_percent(one) for one in budget.contributions] == pytest.approx([36, 64])


def test_a_contribution_of_nothing_changes_nothing() -> None:
    budget = add_up([Contribution("none", 0.0, 5)])
    assert (budget.combined, budget.expanded) == (0.0, 0.0)
    assert budget.share_percent(budget.contributions[0]) == 0.0


@pytest.mark.parametrize(("xs", "ys"), [([1, 2], [1, 2]), ([1, 2, 3], [1, 2]), ([5, 5, 5], [1, 2, 3])])
def test_a_line_through_too_little_is_refused(xs: list[float], ys: list[float]) -> None:
    with pytest.raises(Unreadable, match=r"at least 3 points|one place"):
        fit_line(xs, ys)


def test_a_line_through_what_is_not_a_number_is_refused() -> None:
    for xs, ys, origin in (
        ((1, 2, math.nan), (1, 2, 3), 0),
        ((1, 2, 3), (1, math.inf, 3), 0),
        ((1, 2, 3), (1, 2, 3), math.nan),
    ):
        with pytest.raises(Unreadable, match="plain numbers"):
            fit_line(xs, ys, origin)


def test_a_budget_of_nothing_and_a_single_reading_are_refused() -> None:
    with pytest.raises(Unreadable, match="at least one contribution"):
        add_up([])
    with pytest.raises(Unreadable, match="at least two readings"):
        from_readings("repeatability", [5.0])


# Student's factors by scipy; GUM table G.2 has 12.71 for one degree of freedom and 2.23 for ten.
@pytest.mark.parametrize("freedom", [1, 2, 3, 5, 7, 10, 17, 49])
@pytest.mark.parametrize("standard", [0.1, 0.3, 7.7])
def test_a_single_contribution_keeps_its_own_degrees_of_freedom(freedom: int, standard: float) -> None:
    """Float noise in the formula of Welch and Satterthwaite does not cost a whole degree."""
    budget = add_up([Contribution("repeatability", standard, freedom)], confidence=0.95)
    assert budget.coverage_factor == pytest.approx(float(scipy.stats.t.ppf(0.975, freedom)))
    assert budget.confidence == 0.95
    assert budget.expanded == pytest.approx(budget.coverage_factor * standard)


def test_under_one_degree_of_freedom_there_is_one() -> None:
    budget = add_up([Contribution("guess", 1.0, 0.4)])
    assert budget.coverage_factor == pytest.approx(12.706, abs=5e-4)


def test_two_readings_are_enough_for_a_spread() -> None:
    repeat = from_readings("repeatability", [98, 102])
    assert repeat.standard == pytest.approx(2.0)
    assert repeat.degrees_of_freedom == 1
