"""Certificates against tolerance, by the decision rules of ILAC-G8."""

import math

import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from fleet.refusals import Unreadable
from fleet.rules.calibrations import (
    DecisionRule,
    Limits,
    PointFacts,
    Result,
    judge_calibration,
    judge_point,
    judge_value,
    rule_for,
)

SIMPLE, GUARD_083, GUARD_FULL = DecisionRule


def point(error: float, tolerance: float = 3.0, expanded: float | None = 1.0) -> PointFacts:
    return PointFacts(100.0, 100.0 + error, tolerance, expanded)


# ILAC-G8:09/2019, 4.2.1 to 4.2.3, with TL = 3 and U = 1: limits at 2, 3 and 4 for w = U; at 2.17, 3 and 3.83
# for w = 0.83·U.
@pytest.mark.parametrize(
    ("rule", "error", "result"),
    [
        (SIMPLE, 3.0, Result.PASS),
        (SIMPLE, -3.0, Result.PASS),
        (SIMPLE, 3.01, Result.FAIL),
        (GUARD_FULL, 2.0, Result.PASS),
        (GUARD_FULL, -2.01, Result.CONDITIONAL_PASS),
        (GUARD_FULL, 3.0, Result.CONDITIONAL_PASS),
        (GUARD_FULL, 3.01, Result.CONDITIONAL_FAIL),
        (GUARD_FULL, -4.0, Result.CONDITIONAL_FAIL),
        (GUARD_FULL, 4.01, Result.FAIL),
        (GUARD_083, 2.17, Result.PASS),
        (GUARD_083, 2.18, Result.CONDITIONAL_PASS),
        (GUARD_083, 3.83, Result.CONDITIONAL_FAIL),
        (GUARD_083, 3.84, Result.FAIL),
    ],
)
def test_the_four_verdicts_split_where_ilac_g8_splits_them(
    rule: DecisionRule, error: float, result: Result
) -> None:
    assert judge_point(point(error), rule).result is result


@given(st.floats(min_value=-10, max_value=10), st.floats(min_value=0.01, max_value=5))
def test_a_wider_guard_band_never_turns_a_verdict_for_the_better_near_the_limit(
    error: float, expanded: float
) -> None:
    passes = [
        judge_point(point(error, expanded=expanded), rule).result is Result.PASS for rule in DecisionRule
    ]
    assert passes == sorted(passes, reverse=True)


@given(
    st.floats(min_value=-6, max_value=6),
    st.floats(min_value=0.1, max_value=6),
    st.floats(min_value=0.05, max_value=5),
)
def test_the_conformance_probability_agrees_with_scipy(
    error: float, tolerance: float, expanded: float
) -> None:
    found = judge_point(point(error, tolerance, expanded), SIMPLE).conformance_probability
    normal = scipy.stats.norm(100 + error - 100, expanded / 2)
    assert found == pytest.approx(normal.cdf(tolerance) - normal.cdf(-tolerance), abs=1e-9)


# ILAC-G8: risk of false acceptance at the acceptance limit: 50 % by simple acceptance, under 2.5 % for w = U.
def test_the_risk_at_the_acceptance_limit_is_the_one_ilac_g8_states() -> None:
    simple = judge_point(point(3.0), SIMPLE).conformance_probability
    guarded = judge_point(point(2.0), GUARD_FULL).conformance_probability
    at_083 = judge_point(point(2.17), GUARD_083).conformance_probability
    assert simple is not None
    assert guarded is not None
    assert at_083 is not None
    assert 1 - simple == pytest.approx(0.5, abs=1e-6)
    assert 1 - guarded < 0.025
    assert 1 - at_083 < 0.05


def test_a_calibration_is_as_bad_as_its_worst_point() -> None:
    verdict = judge_calibration([point(0.5), point(-3.5), point(2.5)], GUARD_FULL)
    assert verdict.result is Result.CONDITIONAL_FAIL
    assert verdict.out_of_tolerance
    assert verdict.sentence == ("Conditional fail by guard band U: worst at 100, error -3.5, allowed 3.")
    assert [one.result for one in verdict.points] == [
        Result.PASS,
        Result.CONDITIONAL_FAIL,
        Result.CONDITIONAL_PASS,
    ]


def test_of_equally_bad_points_the_one_farthest_out_is_named() -> None:
    verdict = judge_calibration([point(0.5), PointFacts(50, 52, 3, 0.5), point(1.0)], SIMPLE)
    assert "worst at 50, error +2" in verdict.sentence
    assert not verdict.out_of_tolerance


def test_a_laboratory_too_coarse_for_the_tolerance_can_pass_nothing() -> None:
    verdict = judge_calibration([point(0.0, expanded=3.5)], GUARD_FULL)
    assert verdict.result is Result.CONDITIONAL_PASS
    assert "no result could pass" in verdict.sentence


def test_a_guard_band_without_an_uncertainty_is_refused() -> None:
    for rule in (GUARD_083, GUARD_FULL):
        with pytest.raises(Unreadable, match="needs the expanded uncertainty"):
            judge_point(point(0.5, expanded=None), rule)
    assert judge_point(point(0.5, expanded=None), SIMPLE).conformance_probability is None


def test_a_certainty_is_one_or_nothing() -> None:
    assert judge_point(point(3.0, expanded=0.0), GUARD_FULL).conformance_probability == 1.0
    assert judge_point(point(3.1, expanded=0.0), GUARD_FULL).conformance_probability == 0.0


@pytest.mark.parametrize(
    "wrong",
    [
        point(1, tolerance=0),
        point(1, expanded=-1),
        point(math.nan),
        point(1, expanded=math.inf),
        point(1, math.nan),
    ],
)
def test_figures_that_cannot_be_are_refused(wrong: PointFacts) -> None:
    with pytest.raises(Unreadable):
        judge_point(wrong, GUARD_FULL)


def test_a_certificate_without_points_is_refused() -> None:
    with pytest.raises(Unreadable, match="at least one point"):
        judge_calibration([], SIMPLE)


# --- Limits on one side or both -----------------------------------------------------------------------------


# JCGM 106:2012, table 1 (from memory): for one limit, a value this many standard uncertainties inside it
# conforms with this probability.
@pytest.mark.parametrize(
    ("inside", "probability"), [(0.84, 0.80), (1.28, 0.90), (1.64, 0.95), (2.33, 0.99), (3.09, 0.999)]
)
def test_one_sided_conformance_matches_the_table_of_jcgm_106(inside: float, probability: float) -> None:
    for limits, value in ((Limits(None, 100.0), 100.0 - inside), (Limits(100.0, None), 100.0 + inside)):
        found = judge_value(value, limits, 2.0, SIMPLE).conformance_probability
        assert found == pytest.approx(probability, abs=0.0015)


# By hand: 1,940 to 2,060 with U = 16 and w = U accepts 1,956 to 2,044.
@pytest.mark.parametrize(
    ("reading", "result"),
    [
        (2044, Result.PASS),
        (2045, Result.CONDITIONAL_PASS),
        (2061, Result.CONDITIONAL_FAIL),
        (2077, Result.FAIL),
        (1956, Result.PASS),
        (1955, Result.CONDITIONAL_PASS),
        (1939, Result.CONDITIONAL_FAIL),
        (1923, Result.FAIL),
    ],
)
def test_a_reading_is_judged_on_either_side(reading: float, result: Result) -> None:
    found = judge_value(reading, Limits(1940, 2060), 16, GUARD_FULL)
    assert found.result is result
    assert found.acceptance == Limits(1956, 2044)


def test_another_coverage_factor_changes_the_probability_and_not_the_guard_band() -> None:
    two, three = (judge_value(2050, Limits(None, 2060), 16, GUARD_FULL, k) for k in (2, 3))
    assert two.acceptance == three.acceptance == Limits(None, 2044)
    assert two.conformance_probability == pytest.approx(scipy.stats.norm.cdf(10 / 8))
    assert three.conformance_probability == pytest.approx(scipy.stats.norm.cdf(30 / 16))


@given(
    st.floats(min_value=-10, max_value=10),
    st.floats(min_value=0.1, max_value=6),
    st.floats(min_value=0, max_value=5),
    st.sampled_from(list(DecisionRule)),
)
def test_a_point_is_its_error_between_equal_limits(
    error: float, tolerance: float, expanded: float, rule: DecisionRule
) -> None:
    one = PointFacts(0.0, error, tolerance, expanded)
    assert (
        judge_point(one, rule).result
        is judge_value(error, Limits(-tolerance, tolerance), expanded, rule).result
    )


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (Limits(None, None), "a lower or an upper"),
        (Limits(2, 1), "must lie below"),
        (Limits(1, 1), "must lie below"),
        (Limits(math.nan, 1), "plain numbers"),
    ],
)
def test_limits_that_leave_nothing_between_are_refused(limits: Limits, words: str) -> None:
    with pytest.raises(Unreadable, match=words):
        judge_value(1.5, limits, 0.1, SIMPLE)


def test_a_guard_band_of_another_width_is_none_of_the_rules() -> None:
    assert [rule_for(share) for share in (0, 0.83, 1)] == list(DecisionRule)
    with pytest.raises(Unreadable, match=r"write 0, 0\.83 or 1"):
        rule_for(0.5)
