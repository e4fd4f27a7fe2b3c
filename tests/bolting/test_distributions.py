"""The distributions against scipy, and rows of the printed t table."""

import math

import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.distributions import beta_below, beta_quantile, normal_below, student_factor

shapes = st.floats(min_value=0.5, max_value=300)
probabilities = st.floats(min_value=0.0005, max_value=0.9995)


@given(st.floats(min_value=0, max_value=1), shapes, shapes)
def test_the_incomplete_beta_function_agrees_with_scipy(value: float, a: float, b: float) -> None:
    assert beta_below(value, a, b) == pytest.approx(scipy.stats.beta.cdf(value, a, b), rel=1e-9, abs=1e-12)


@given(probabilities, shapes, shapes)
def test_beta_quantiles_agree_with_scipy(probability: float, a: float, b: float) -> None:
    expected = scipy.stats.beta.ppf(probability, a, b)
    assert beta_quantile(probability, a, b) == pytest.approx(expected, rel=1e-8, abs=1e-12)


@given(st.floats(min_value=0.1, max_value=0.999), st.floats(min_value=1, max_value=1000))
def test_student_factors_agree_with_scipy(confidence: float, freedom: float) -> None:
    expected = scipy.stats.t.ppf((1 + confidence) / 2, freedom)
    assert student_factor(confidence, freedom) == pytest.approx(expected, rel=1e-9)


# GUM, table G.2.
@pytest.mark.parametrize(
    ("freedom", "at_95", "at_99"),
    [
        (1, 12.71, 63.66),
        (2, 4.30, 9.92),
        (5, 2.57, 4.03),
        (16, 2.12, 2.92),
        (50, 2.01, 2.68),
        (100, 1.984, 2.626),
    ],
)
def test_student_factors_match_table_g_2_of_the_gum(freedom: float, at_95: float, at_99: float) -> None:
    assert student_factor(0.95, freedom) == pytest.approx(at_95, abs=0.0051)
    assert student_factor(0.99, freedom) == pytest.approx(at_99, abs=0.0051)


def test_infinite_freedom_is_the_normal_distribution() -> None:
    assert student_factor(0.95, math.inf) == pytest.approx(1.959964, abs=1e-6)
    assert student_factor(0.95, 1e7) == pytest.approx(1.959964, abs=1e-5)


@pytest.mark.parametrize("freedom", [1e7, 1e9, 1e12, 1e16, 1e58, 1e300])
def test_ever_more_freedom_never_loses_the_factor(freedom: float) -> None:
    for confidence in (0.95, 0.99):
        normal = scipy.stats.norm.ppf((1 + confidence) / 2)
        assert student_factor(confidence, freedom) == pytest.approx(normal, rel=1e-6)


@given(st.floats(min_value=-8, max_value=8))
def test_the_normal_distribution_agrees_with_scipy(value: float) -> None:
    assert normal_below(value * 3 + 1, 1, 3) == pytest.approx(scipy.stats.norm.cdf(value), rel=1e-9)


@pytest.mark.parametrize("confidence", [0.1, 0.38, 0.5, 0.6827, 0.95, 0.9973])
def test_with_endless_freedom_the_factor_is_that_of_the_normal_distribution(confidence: float) -> None:
    """Below one standard deviation too; GUM table G.1: k = 1 at 68.27 %, 3 at 99.73 %."""
    expected = float(scipy.stats.norm.ppf((1 + confidence) / 2))
    assert student_factor(confidence, math.inf) == pytest.approx(expected)
