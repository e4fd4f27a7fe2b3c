"""Where a proposed interval turns, against numpy and scipy, and what is refused with its sentence."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import scipy.stats
from hypothesis import assume, given
from hypothesis import strategies as st

from fleet.refusals import Unreadable
from fleet.rules.intervals import (
    ChartedResult,
    IntervalPolicy,
    Reliability,
    by_reliability,
    control_chart,
    in_service_check,
    in_use_time,
    reliability,
    staircase,
    staircase_by_count,
)

POLICY = IntervalPolicy(3, 24, lengthen_percent=25, shorten_percent=50)
LOOSE = IntervalPolicy(1, 120, lengthen_percent=5000, shorten_percent=50)
STEPS = "The room's steps are +25 % and −50 %, within 3 to 24 months."


# --- The room's policy --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "change",
    [
        {"shortest": 1},
        {"shortest": 24},
        {"longest": 3},
        {"lengthen_percent": 0.5},
        {"shorten_percent": 0.5},
        {"shorten_percent": 99.5},
        {"good_results_to_lengthen": 1},
        {"good_share": 1.0},
        {"good_share": 0.01},
    ],
)
def test_a_policy_may_go_to_its_limits(change: dict[str, Any]) -> None:
    changed = replace(POLICY, **change)
    assert [getattr(changed, name) for name in change] == list(change.values())


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"shortest": 0}, "at least one and no longer than the longest"),
        ({"shortest": 25}, "at least one and no longer than the longest"),
        ({"lengthen_percent": 0.0}, "lengthened by more than 0 %"),
        ({"shorten_percent": 0.0}, "shortened by 0 to 100 %"),
        ({"shorten_percent": 100.0}, "shortened by 0 to 100 %"),
        ({"good_results_to_lengthen": 0}, "At least one good result lengthens"),
        ({"good_share": 0.0}, "good means within 0 to 100 %"),
        ({"good_share": 1.01}, "good means within 0 to 100 %"),
    ],
)
def test_a_policy_beyond_them_is_refused_with_the_reason(change: dict[str, Any], sentence: str) -> None:
    with pytest.raises(Unreadable, match=sentence):
        replace(POLICY, **change)


# --- Staircase ----------------------------------------------------------------------------------------------


def test_a_result_at_exactly_the_good_share_is_good() -> None:
    """ILAC-G24: for example 80 % of tolerance."""
    proposal = staircase(12, [0.8], POLICY)
    assert proposal.interval == 15
    assert proposal.evidence == (
        "last found at 80 % of tolerance; 1 of the 1 that lengthen were within 80 %: from 12 to 15 months. "
        + STEPS
    )
    assert "last found at 90 % of tolerance; 0 of the 1" in staircase(12, [0.9], POLICY).evidence


# --- Control chart ------------------------------------------------------------------------------------------


def oracle(results: list[ChartedResult], confidence: float, longest: int) -> int:
    """The last whole month at which the band of a further result lies within tolerance."""
    x = np.array([one.at for one in results]) - results[-1].at
    y = np.array([one.share for one in results])
    best, covariance = np.polyfit(x, y, 1, cov=True)
    scatter = float(np.sum((y - np.polyval(best, x)) ** 2)) / (len(x) - 2)
    factor = float(scipy.stats.t.ppf((1 + confidence) / 2, len(x) - 2))
    for later in range(1, longest + 1):
        at = np.array([later, 1.0])
        half_band = factor * math.sqrt(float(at @ covariance @ at) + scatter)
        if abs(float(np.polyval(best, later))) + half_band > 1:
            return later - 1
    return longest


@given(
    st.lists(st.floats(-0.2, 0.2), min_size=4, max_size=10),
    st.floats(-0.01, 0.01),
    st.sampled_from([0.8, 0.95, 0.99]),
)
def test_the_control_chart_reaches_as_far_as_the_prediction_band(
    noise: list[float], drift: float, confidence: float
) -> None:
    results = [ChartedResult(12.0 * n, 12 * drift * n + off) for n, off in enumerate(noise)]
    line = np.polyfit([one.at for one in results], noise, 1)
    assume(np.std(np.array(noise) - np.polyval(line, [one.at for one in results])) > 1e-3)
    assume(abs(results[-1].share) <= 1)
    reach = oracle(results, confidence, LOOSE.longest)

    proposal = control_chart(12, results, LOOSE, confidence)

    assert proposal.interval == max(reach, 1)
    at_least = "at least " if reach == LOOSE.longest else ""
    assert (
        f"with {100 * confidence:.0f} % confidence the next is within tolerance for {at_least}{reach} months"
    ) in proposal.evidence


def test_the_evidence_of_a_control_chart_is_whole() -> None:
    shares = (0.1, -0.3, 0.4, -0.1)
    results = [ChartedResult(12.0 * n, share) for n, share in enumerate(shares)]
    (slope, _), residuals, *_ = np.polyfit(range(4), shares, 1, full=True)
    scatter = math.sqrt(float(residuals[0]) / 2)
    reach = oracle(results, 0.95, POLICY.longest)
    assert control_chart(12, results, POLICY).evidence == (
        f"4 results drift by {100 * slope:+.1f} % of tolerance in 12 months and scatter by "
        f"{100 * scatter:.1f} %; with 95 % confidence the next is within tolerance for {reach} months: "
        f"from 12 to 3 months. " + STEPS
    )


def test_a_result_exactly_at_its_tolerance_is_still_within_it() -> None:
    at_the_limit = [ChartedResult(12.0 * n, 1.0) for n in range(4)]
    assert control_chart(12, at_the_limit, POLICY).interval == 15


@pytest.mark.parametrize("confidence", [0.0, 1.0, 1.5, -0.5, math.nan])
def test_a_confidence_lies_between_nothing_and_certainty(confidence: float) -> None:
    steady = [ChartedResult(12.0 * n, 0.1) for n in range(4)]
    with pytest.raises(Unreadable, match="A confidence lies between 0 and 1"):
        control_chart(12, steady, POLICY, confidence)


def test_a_control_chart_of_nothing_is_refused() -> None:
    with pytest.raises(Unreadable, match="at least 3 points"):
        control_chart(12, [], POLICY)


# --- In-use time --------------------------------------------------------------------------------------------


def test_the_evidence_of_the_in_use_time_is_whole() -> None:
    assert in_use_time(12, 5000, 1500, 6, POLICY).evidence == (
        "1,500 cycles in 6 months, so 5,000 cycles are reached after 20 months: from 12 to 20 months. "
        + STEPS
    )
    assert ": stays at 20 months. " in in_use_time(20, 5000, 1500, 6, POLICY, "strokes").evidence
    assert "1,500 strokes in 6 months" in in_use_time(20, 5000, 1500, 6, POLICY, "strokes").evidence


# --- Counts -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("within", "count", "target", "after", "share", "wanted"),
    [
        (4, 4, None, 15, 100, 100),
        (3, 4, None, 6, 75, 100),
        (9, 10, 0.9, 12, 90, 90),
        (10, 10, 0.9, 15, 100, 90),
        (8, 10, 0.9, 6, 80, 90),
        (0, 4, 0.9, 6, 0, 90),
    ],
)
def test_counts_step_by_whether_the_target_is_kept(
    within: int, count: int, target: float | None, after: int, share: int, wanted: int
) -> None:
    proposal = staircase_by_count(12, within, count, target, POLICY)
    change = f"from 12 to {after} months" if after != 12 else "stays at 12 months"
    assert proposal.interval == after
    assert proposal.method == "staircase on counts, ILAC-G24 method 1"
    assert proposal.evidence == (
        f"{within} of {count} within tolerance, {share} %, and {wanted} % is wanted: {change}. " + STEPS
    )


def test_too_few_counted_lengthen_nothing_and_shorten_all_the_same() -> None:
    careful = replace(POLICY, good_results_to_lengthen=3)
    lengths = [staircase_by_count(12, n, n, None, careful).interval for n in (1, 2, 3, 4)]
    assert lengths == [12, 12, 15, 15]
    assert [staircase_by_count(12, n, n, 0.9, careful).interval for n in (2, 3)] == [12, 15]
    assert staircase_by_count(12, 0, 1, None, careful).interval == 6
    assert staircase_by_count(40, 2, 2, None, careful).interval == POLICY.longest


@pytest.mark.parametrize("target", [0.0, 1.0, -0.5, 95.0])
def test_a_target_that_is_no_share_is_refused(target: float) -> None:
    with pytest.raises(Unreadable, match=r"lies between 0 and 1, as in 0.95"):
        staircase_by_count(12, 4, 4, target, POLICY)


# --- Between two calibrations -------------------------------------------------------------------------------


def test_checks_within_the_limit_lengthen_as_many_as_the_policy_asks_for() -> None:
    careful = replace(POLICY, good_results_to_lengthen=2)
    for shares, after in (([0.8, -0.8], 15), ([0.81, 0.8], 12), ([0.1], 12), ([1.0, 0.2, -0.1], 15)):
        proposal = in_service_check(12, shares, careful)
        assert (proposal.interval, proposal.calibrate_now) == (after, False)
    assert in_service_check(12, [-0.9, 0.5, 0.4], careful).evidence == (
        "3 checks within the check limit, the widest at 90 % of it; 2 of the 2 that lengthen were within "
        "80 %: from 12 to 15 months. " + STEPS
    )
    assert in_service_check(40, [0.9], careful).interval == POLICY.longest


@pytest.mark.parametrize("shares", [[1.01], [-1.01], [1.01, 0.1, 0.1], [math.nan, 0.1], [math.inf]])
def test_one_check_outside_calls_the_item_in_whatever_came_after(shares: list[float]) -> None:
    proposal = in_service_check(12, shares, POLICY)
    assert (proposal.interval, proposal.calibrate_now) == (6, True)
    assert proposal.method == "in-service checking (black box), ILAC-G24 method 4"
    assert proposal.evidence == (
        f"1 of {len(shares)} checks outside the check limit: calibrate now: from 12 to 6 months. " + STEPS
    )
    assert in_service_check(2, shares, POLICY).interval == 2


def test_a_check_at_the_very_limit_is_within_it() -> None:
    assert not in_service_check(12, [1.0], POLICY).calibrate_now
    assert not in_service_check(12, [-1.0], POLICY).calibrate_now


# --- The interval test and the steps ------------------------------------------------------------------------


@pytest.mark.parametrize("confidence", [0.0, 1.0, 1.5, -0.5, math.nan])
def test_bounds_of_no_confidence_are_refused(confidence: float) -> None:
    with pytest.raises(Unreadable, match=r"A confidence lies between 0 and 1, as in 0.95"):
        reliability(9, 10, confidence)


@pytest.mark.parametrize(
    ("lower", "upper", "after"), [(0.5, 0.9, 12), (0.5, 0.89, 6), (0.9, 0.99, 12), (0.91, 0.99, 15)]
)
def test_a_bound_that_meets_the_target_decides_nothing(lower: float, upper: float, after: int) -> None:
    proposal = by_reliability(12, Reliability(9, 10, lower, upper, 0.95), 0.9, POLICY)
    assert proposal.interval == after
    assert proposal.method == "interval test, NCSLI RP-1 method A3; ILAC-G24 method 5"
    assert f"9 of 10 within tolerance, so {100 * lower:.0f} to {100 * upper:.0f} % " in proposal.evidence
    assert "(each bound at 95 % confidence), and 90 % is wanted: " in proposal.evidence


@pytest.mark.parametrize(
    ("current", "percent", "after"),
    [(12, 50, 6), (12, 1, 11), (13, 50, 6), (12, 1e-9, 11), (730, 50, 365), (730, 10, 657), (3, 90, 3)],
)
def test_a_step_down_is_the_rooms_own_and_at_least_one(current: int, percent: float, after: int) -> None:
    policy = IntervalPolicy(3, 730, lengthen_percent=25, shorten_percent=percent)
    assert staircase(current, [1.2], policy).interval == after


@pytest.mark.parametrize(
    ("current", "percent", "after"),
    [(12, 25, 15), (12, 1, 12), (365, 25, 456), (100, 10, 110), (700, 25, 730)],
)
def test_a_step_up_is_the_rooms_own_cut_to_whole_ones(current: int, percent: float, after: int) -> None:
    policy = IntervalPolicy(3, 730, lengthen_percent=percent, shorten_percent=50)
    assert staircase(current, [0.2], policy).interval == after
