"""When to calibrate again: proposals with their evidence."""

from dataclasses import replace

import pytest
import scipy.stats
from hypothesis import assume, given
from hypothesis import strategies as st

from fleet.refusals import Unreadable
from fleet.rules.intervals import (
    ChartedResult,
    Count,
    IntervalPolicy,
    by_reliability,
    confidence_off_target,
    control_chart,
    in_service_check,
    in_use_time,
    reliability,
    staircase,
    staircase_by_count,
)

POLICY = IntervalPolicy(3, 24, lengthen_percent=25, shorten_percent=50)
IN_DAYS = IntervalPolicy(30, 730, lengthen_percent=25, shorten_percent=50, unit=Count.DAYS)


def test_a_good_result_lengthens_the_interval() -> None:
    proposal = staircase(12, [0.9, 0.4], POLICY)
    assert proposal.interval == 15
    assert proposal.method == "staircase, ILAC-G24 method 1"
    assert proposal.evidence == (
        "last found at 40 % of tolerance; 1 of the 1 that lengthen were within 80 %: from 12 to 15 months. "
        "The room's steps are +25 % and −50 %, within 3 to 24 months."
    )


def test_a_result_out_of_tolerance_shortens_it() -> None:
    assert staircase(12, [0.2, 0.3, 1.01], POLICY).interval == 6


def test_a_result_within_tolerance_but_not_by_much_keeps_it() -> None:
    assert staircase(12, [0.2, 0.81], POLICY).interval == 12
    assert staircase(12, [1.0], POLICY).interval == 12


def test_a_careful_room_waits_for_several_good_results() -> None:
    careful = replace(POLICY, good_results_to_lengthen=3)
    assert staircase(12, [0.1, 0.1], careful).interval == 12
    assert staircase(12, [0.9, 0.1, 0.1], careful).interval == 12
    assert staircase(12, [0.1, 0.1, 0.1], careful).interval == 15


def test_a_step_too_small_for_a_whole_month_says_that_nothing_changes() -> None:
    proposal = staircase(3, [0.1], POLICY)
    assert proposal.interval == 3
    assert "stays at 3 months" in proposal.evidence


def test_no_proposal_leaves_the_bounds_of_the_room() -> None:
    assert staircase(24, [0.1], POLICY).interval == 24
    assert staircase(3, [2.0], POLICY).interval == 3
    assert staircase(36, [0.9], POLICY).interval == 24


def test_a_result_that_is_not_a_number_never_lengthens() -> None:
    assert staircase(12, [float("nan")], POLICY).interval == 6


@given(
    st.integers(min_value=1, max_value=60),
    st.lists(st.floats(min_value=0, max_value=3), min_size=1, max_size=6),
)
def test_an_item_out_of_tolerance_never_gets_longer(months: int, shares: list[float]) -> None:
    proposal = staircase(months, [*shares, 1.5], POLICY)
    assert proposal.interval <= max(months, POLICY.shortest)
    assert POLICY.shortest <= proposal.interval <= POLICY.longest


# The well-known 59 of 59: with 95 % confidence at least 95 % are good (0.95⁵⁹ < 0.05 < 0.95⁵⁸).
def test_fifty_nine_of_fifty_nine_speak_for_ninety_five_percent() -> None:
    assert reliability(59, 59).lower > 0.95
    assert reliability(58, 58).lower < 0.95
    assert reliability(59, 59).upper == 1.0
    assert reliability(0, 10).lower == 0.0


@given(st.integers(min_value=1, max_value=400), st.floats(min_value=0, max_value=1), st.floats(0.5, 0.999))
def test_the_bounds_agree_with_scipy(count: int, share: float, confidence: float) -> None:
    within = round(share * count)
    found = reliability(within, count, confidence)
    at_least = scipy.stats.binomtest(within, count, alternative="greater").proportion_ci(confidence)
    at_most = scipy.stats.binomtest(within, count, alternative="less").proportion_ci(confidence)
    assert found.lower == pytest.approx(at_least.low, rel=1e-6, abs=1e-9)
    assert found.upper == pytest.approx(at_most.high, rel=1e-6, abs=1e-9)


def test_a_kind_that_surely_holds_is_lengthened_and_one_that_surely_does_not_is_shortened() -> None:
    assert by_reliability(12, reliability(200, 200), 0.95, POLICY).interval == 15
    assert by_reliability(12, reliability(5, 20), 0.95, POLICY).interval == 6


def test_a_handful_of_good_results_decides_nothing() -> None:
    proposal = by_reliability(12, reliability(10, 10), 0.95, POLICY)
    assert proposal.interval == 12
    assert proposal.evidence.startswith("10 of 10 within tolerance, so 74 to 100 %")
    assert "95 % is wanted: stays at 12 months." in proposal.evidence


# NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1 (from memory): 4 of 20, both bounds at 95 %, is
# 0.071354 to 0.401029.
def test_the_bounds_are_those_of_the_nist_handbook() -> None:
    found = reliability(4, 20)
    assert found.lower == pytest.approx(0.071354, abs=5e-7)
    assert found.upper == pytest.approx(0.401029, abs=1e-6)


@given(st.integers(min_value=1, max_value=200), st.floats(min_value=0, max_value=1), st.floats(0.05, 0.99))
def test_the_confidence_off_target_agrees_with_scipy(count: int, share: float, target: float) -> None:
    within = round(share * count)
    below = within < target * count
    tail = (
        scipy.stats.binom.cdf(within, count, target)
        if below
        else scipy.stats.binom.sf(within - 1, count, target)
    )
    assert confidence_off_target(within, count, target) == pytest.approx(1 - tail, abs=1e-9)


@given(st.integers(min_value=1, max_value=100), st.floats(min_value=0, max_value=1))
def test_an_interval_changes_exactly_where_the_confidence_reaches_its_limit(count: int, share: float) -> None:
    within = round(share * count)
    confidence = confidence_off_target(within, count, 0.9)
    assume(abs(confidence - 0.95) > 1e-6)
    changed = by_reliability(12, reliability(within, count), 0.9, POLICY).interval != 12
    assert changed is (confidence > 0.95)


def test_an_item_that_neither_drifts_nor_scatters_grows_by_one_step() -> None:
    steady = [ChartedResult(at, 0.2) for at in (0, 365, 730, 1095)]
    proposal = control_chart(365, steady, IN_DAYS)
    assert (proposal.interval, proposal.unit) == (456, Count.DAYS)
    assert proposal.method == "control chart, ILAC-G24 method 2"
    assert "within tolerance for at least 730 days" in proposal.evidence


# By hand: 0.2 of tolerance a year without scatter, 0.6 at the last result, so 1.0 after two more years.
def test_a_steady_drift_is_followed_to_the_tolerance() -> None:
    drifting = [ChartedResult(at, 0.2 + 0.2 * at / 12) for at in (0, 12, 24)]
    open_end = IntervalPolicy(3, 60, lengthen_percent=300, shorten_percent=50)
    proposal = control_chart(12, drifting, open_end)
    assert proposal.interval in {23, 24}  # The last month stands or falls with float noise.
    assert "drift by +20.0 % of tolerance in 12 months" in proposal.evidence


def test_scatter_alone_shortens_what_the_control_chart_proposes() -> None:
    quiet = [ChartedResult(at, share) for at, share in ((0, 0.1), (12, 0.12), (24, 0.11), (36, 0.12))]
    loud = [ChartedResult(at, share) for at, share in ((0, 0.1), (12, -0.3), (24, 0.4), (36, -0.1))]
    assert control_chart(12, quiet, POLICY).interval == 15
    assert control_chart(12, loud, POLICY).interval == 3


def test_a_last_result_out_of_tolerance_shortens_whatever_the_line_says() -> None:
    results = [ChartedResult(12 * n, 0.0) for n in range(30)]
    assert control_chart(12, results, POLICY).interval == 15
    assert control_chart(12, [*results, ChartedResult(360, 1.1)], POLICY).interval == 6


# By hand: 300 cycles in 90 days reach 1000 cycles in 300 days.
def test_the_in_use_time_is_the_pace_to_the_limit_and_the_calendar_caps_it() -> None:
    proposal = in_use_time(365, 1000, 300, 90, IN_DAYS)
    assert proposal.interval == 300
    assert proposal.method == "in-use time, ILAC-G24 method 3"
    assert "300 cycles in 90 days, so 1,000 cycles are reached after 300 days" in proposal.evidence
    assert in_use_time(365, 5000, 300, 90, IN_DAYS).interval == 730
    assert in_use_time(365, 50, 300, 90, IN_DAYS).interval == 30


@pytest.mark.parametrize(
    "change",
    [
        {"shortest": 0},
        {"longest": 2},
        {"lengthen_percent": 0.0},
        {"shorten_percent": 100.0},
        {"good_results_to_lengthen": 0},
        {"good_share": 1.1},
    ],
)
def test_a_policy_that_contradicts_itself_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(Unreadable):
        replace(POLICY, **change)  # type: ignore[arg-type]


def test_proposals_without_evidence_are_refused() -> None:
    with pytest.raises(Unreadable, match="at least one calibration"):
        staircase(12, [], POLICY)
    for within, count in ((5, 4), (-1, 4), (0, 0)):
        with pytest.raises(Unreadable, match="within tolerance"):
            reliability(within, count)
    with pytest.raises(Unreadable, match="between 0 and 1"):
        by_reliability(12, reliability(9, 10), 1.0, POLICY)
    with pytest.raises(Unreadable, match="at least 3 points"):
        control_chart(12, [ChartedResult(0, 0.1), ChartedResult(12, 0.1)], POLICY)
    with pytest.raises(Unreadable, match="A confidence lies between"):
        control_chart(12, [ChartedResult(12 * n, 0.1) for n in range(4)], POLICY, confidence=95)
    for times in ((12, 0, 24), (0, 12, 12)):
        with pytest.raises(Unreadable, match="order of time"):
            control_chart(12, [ChartedResult(at, 0.1) for at in times], POLICY)
    for figures in ((0, 300, 90), (5000, 0, 90), (5000, 300, 0)):
        with pytest.raises(Unreadable, match="above zero"):
            in_use_time(365, *figures, IN_DAYS)
    with pytest.raises(Unreadable, match="count what was calibrated"):
        confidence_off_target(5, 4, 0.9)


# --- In-service checking: ILAC-G24 calls an item in for calibration when its check device finds it outside.


@given(st.lists(st.floats(-3, 3), min_size=1, max_size=9), st.integers(3, 24))
def test_a_check_never_lengthens_an_interval_that_one_outside_has_shortened(
    shares: list[float], now: int
) -> None:
    proposal = in_service_check(now, shares, POLICY)
    outside = any(abs(share) > 1 for share in shares)
    assert proposal.calibrate_now is outside
    assert proposal.interval <= (now if outside else POLICY.longest)
    assert outside or proposal.interval >= now


def test_no_check_is_no_evidence() -> None:
    with pytest.raises(Unreadable, match="at least one check"):
        in_service_check(12, [], POLICY)


def test_what_is_not_a_number_is_outside() -> None:
    assert in_service_check(12, [0.1, float("nan")], POLICY).calibrate_now


def test_a_result_short_of_the_target_shortens_like_one_beyond_it() -> None:
    assert staircase(12, [-1.01], POLICY).interval == staircase(12, [1.01], POLICY).interval == 6


@pytest.mark.parametrize(("within", "count"), [(4, 3), (-1, 3), (0, 0)])
def test_counts_that_cannot_be_propose_nothing(within: int, count: int) -> None:
    with pytest.raises(Unreadable, match="count what was calibrated"):
        staircase_by_count(12, within, count, None, POLICY)
