"""When to calibrate again: proposals with their evidence."""

from dataclasses import replace

import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from fleet.refusals import Unreadable
from fleet.rules.intervals import IntervalPolicy, by_reliability, reliability, staircase

POLICY = IntervalPolicy(3, 24, lengthen_percent=25, shorten_percent=50)


def test_a_good_result_lengthens_the_interval() -> None:
    proposal = staircase(12, [0.9, 0.4], POLICY)
    assert proposal.months == 15
    assert proposal.method == "staircase, ILAC-G24 method 1"
    assert proposal.evidence == (
        "last found at 40 % of tolerance; 1 of the 1 that lengthen were within 80 %: from 12 to 15 months. "
        "The room's steps are +25 % and −50 %, within 3 to 24 months."
    )


def test_a_result_out_of_tolerance_shortens_it() -> None:
    assert staircase(12, [0.2, 0.3, 1.01], POLICY).months == 6


def test_a_result_within_tolerance_but_not_by_much_keeps_it() -> None:
    assert staircase(12, [0.2, 0.81], POLICY).months == 12
    assert staircase(12, [1.0], POLICY).months == 12


def test_a_careful_room_waits_for_several_good_results() -> None:
    careful = replace(POLICY, good_results_to_lengthen=3)
    assert staircase(12, [0.1, 0.1], careful).months == 12
    assert staircase(12, [0.9, 0.1, 0.1], careful).months == 12
    assert staircase(12, [0.1, 0.1, 0.1], careful).months == 15


def test_a_step_too_small_for_a_whole_month_says_that_nothing_changes() -> None:
    proposal = staircase(3, [0.1], POLICY)
    assert proposal.months == 3
    assert "stays at 3 months" in proposal.evidence


def test_no_proposal_leaves_the_bounds_of_the_room() -> None:
    assert staircase(24, [0.1], POLICY).months == 24
    assert staircase(3, [2.0], POLICY).months == 3
    assert staircase(36, [0.9], POLICY).months == 24


def test_a_result_that_is_not_a_number_never_lengthens() -> None:
    assert staircase(12, [float("nan")], POLICY).months == 6


@given(
    st.integers(min_value=1, max_value=60),
    st.lists(st.floats(min_value=0, max_value=3), min_size=1, max_size=6),
)
def test_an_item_out_of_tolerance_never_gets_longer(months: int, shares: list[float]) -> None:
    proposal = staircase(months, [*shares, 1.5], POLICY)
    assert proposal.months <= max(months, POLICY.shortest_months)
    assert POLICY.shortest_months <= proposal.months <= POLICY.longest_months


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
    assert by_reliability(12, reliability(200, 200), 0.95, POLICY).months == 15
    assert by_reliability(12, reliability(5, 20), 0.95, POLICY).months == 6


def test_a_handful_of_good_results_decides_nothing() -> None:
    proposal = by_reliability(12, reliability(10, 10), 0.95, POLICY)
    assert proposal.months == 12
    assert proposal.evidence.startswith("10 of 10 within tolerance, so 74 to 100 %")
    assert "95 % is wanted: stays at 12 months." in proposal.evidence


@pytest.mark.parametrize(
    "change",
    [
        {"shortest_months": 0},
        {"longest_months": 2},
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
