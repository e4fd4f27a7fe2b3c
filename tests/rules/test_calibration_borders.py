"""Where a calibration's verdict turns, to the last figure (ILAC-G8:09/2019), and what is refused."""

from __future__ import annotations

import math

import pytest

from fleet.refusals import Unreadable
from fleet.rules.calibrations import (
    DecisionRule,
    Limits,
    PointFacts,
    Result,
    judge_calibration,
    judge_point,
    judge_value,
)

SIMPLE, GUARD_083, GUARD_FULL = DecisionRule
BOTH = Limits(-3.0, 3.0)


def point(error: float, tolerance: float = 3.0, expanded: float | None = 1.0) -> PointFacts:
    return PointFacts(100.0, 100.0 + error, tolerance, expanded)


def test_a_reference_that_is_certain_needs_no_guard_band() -> None:
    for rule in DecisionRule:
        sure = judge_point(point(2.9, expanded=0.0), rule)
        assert (sure.result, sure.acceptance_limit) == (Result.PASS, 3.0)
        assert judge_value(2.9, BOTH, 0.0, rule).acceptance == BOTH


@pytest.mark.parametrize(("rule", "limit"), [(SIMPLE, 3.0), (GUARD_083, 2.17), (GUARD_FULL, 2.0)])
def test_the_acceptance_limit_lies_the_guard_band_inside_on_either_side(
    rule: DecisionRule, limit: float
) -> None:
    assert judge_point(point(0), rule).acceptance_limit == pytest.approx(limit)
    acceptance = judge_value(0, BOTH, 1.0, rule).acceptance
    assert (acceptance.lower, acceptance.upper) == pytest.approx((-limit, limit))


@pytest.mark.parametrize("factor", [0.0, -2.0, math.nan, math.inf])
def test_a_coverage_factor_that_cannot_be_is_refused(factor: float) -> None:
    with pytest.raises(Unreadable, match="coverage factor must be plain numbers"):
        judge_value(1.0, BOTH, 1.0, SIMPLE, coverage_factor=factor)


def test_an_uncertainty_may_be_stated_as_one_standard_uncertainty() -> None:
    """K = 1 and U = 1 are the same standard uncertainty as k = 2 and U = 2 (JCGM 106)."""
    one = judge_value(2.5, BOTH, 1.0, SIMPLE, coverage_factor=1.0)
    two = judge_value(2.5, BOTH, 2.0, SIMPLE, coverage_factor=2.0)
    assert one.conformance_probability == pytest.approx(two.conformance_probability)
    half = judge_value(2.5, BOTH, 0.5, SIMPLE, coverage_factor=0.5)
    assert half.conformance_probability == pytest.approx(one.conformance_probability)


@pytest.mark.parametrize("expanded", [-1.0, math.nan, math.inf])
def test_an_uncertainty_that_cannot_be_is_quoted(expanded: float) -> None:
    with pytest.raises(Unreadable, match=f"An expanded uncertainty of {expanded:g} cannot be"):
        judge_value(1.0, BOTH, expanded, SIMPLE)


@pytest.mark.parametrize(
    "wrong",
    [
        PointFacts(math.nan, 100.0, 3.0, 1.0),
        PointFacts(100.0, math.nan, 3.0, 1.0),
        PointFacts(math.inf, 100.0, 3.0, 1.0),
        PointFacts(100.0, 100.0, 0.0, 1.0),
        PointFacts(100.0, 100.0, -3.0, 1.0),
        PointFacts(100.0, 100.0, math.inf, 1.0),
    ],
    ids=["no reference", "not found", "endless reference", "no tolerance", "tolerance below", "endless"],
)
def test_a_point_that_lacks_a_figure_is_refused_as_such(wrong: PointFacts) -> None:
    with pytest.raises(Unreadable, match="needs a reference, what was found, and a tolerance above zero"):
        judge_point(wrong, SIMPLE)


def test_the_worst_point_is_the_one_that_used_most_of_its_tolerance() -> None:
    """0.9 of 1 is worse than 2 of 10, though the error is smaller."""
    tight, wide = PointFacts(50, 50.9, 1, None), PointFacts(500, 502, 10, None)
    for points in ([tight, wide], [wide, tight]):
        assert "worst at 50, error +0.9, allowed 1." in judge_calibration(points, SIMPLE).sentence


@pytest.mark.parametrize(("expanded", "hopeless"), [(2.5, False), (2.99, False), (3.0, True), (3.5, True)])
def test_a_guard_band_as_wide_as_the_tolerance_lets_nothing_pass(expanded: float, hopeless: bool) -> None:
    verdict = judge_calibration([point(0.4, expanded=expanded)], GUARD_FULL)
    assert verdict.rule is GUARD_FULL
    plain = f"{verdict.result.capitalize()} by guard band U: worst at 100, error +0.4, allowed 3."
    note = " The guard band is as wide as the tolerance: no result could pass at this laboratory."
    assert verdict.sentence == plain + note * hopeless


@pytest.mark.parametrize(
    ("error", "out"), [(2.0, False), (3.0, False), (3.5, True), (4.5, True), (-3.5, True), (-4.5, True)]
)
def test_whatever_passed_the_tolerance_itself_calls_for_a_look_back(error: float, out: bool) -> None:
    assert judge_calibration([point(error)], GUARD_FULL).out_of_tolerance is out
