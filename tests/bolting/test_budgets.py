"""How well a set torque is known."""

import math

import pytest

from fleet.bolting.budgets import GaugeFacts, torque_uncertainty
from fleet.bolting.charts import ChartPoint, make_chart
from fleet.bolting.gauges import read_accuracy
from fleet.bolting.uncertainty import from_expanded, from_readings
from fleet.refusals import OffTheChart, Unreadable

STRAIGHT = make_chart([ChartPoint(p, 134 * p) for p in (10, 30, 50, 70)], "maker's sheet")
GAUGE = GaugeFacts(read_accuracy("1.6"), 100.0, 1.0)


# By hand, chart exactly straight: gauge 1.6 MPa · 134 = 214.4 N·m, half a graduation 67 N·m, wrench 3 % of
# 4,690 = 140.7 N·m, all limits, so √(214.4² + 67² + 140.7²)/√3 = 153.1 N·m; times 1.96: 300.1 N·m, 6.4 %.
def test_a_budget_worked_by_hand() -> None:
    found = torque_uncertainty(STRAIGHT, 35.0, GAUGE, 3.0, tolerance_percent=5.0)
    assert found.torque_nm == pytest.approx(4690)
    assert found.budget.combined == pytest.approx(153.1, abs=0.1)
    assert found.budget.expanded == pytest.approx(300.1, abs=0.2)
    assert found.expanded_percent == pytest.approx(6.40, abs=0.01)
    assert found.within_tolerance is False
    assert "Torque is not bolt load" in found.warning


def test_higher_on_the_same_gauge_the_torque_is_known_better() -> None:
    low, high = (torque_uncertainty(STRAIGHT, p, GAUGE, 3.0) for p in (15.0, 65.0))
    assert high.expanded_percent < low.expanded_percent
    assert low.within_tolerance is None


def test_a_better_gauge_brings_the_torque_within_its_tolerance() -> None:
    fine = GaugeFacts(read_accuracy("0.25"), 100.0, 0.2)
    assert torque_uncertainty(STRAIGHT, 35.0, fine, 3.0, tolerance_percent=5.0).within_tolerance


def test_a_chart_that_scatters_adds_its_scatter() -> None:
    points = zip((10, 30, 50, 70), (1340, 4100, 6620, 9400), strict=True)
    bench = make_chart([ChartPoint(*pair) for pair in points], "bench")
    straight, scattered = (torque_uncertainty(chart, 35.0, GAUGE, 3.0) for chart in (STRAIGHT, bench))
    assert scattered.budget.combined > straight.budget.combined
    assert scattered.budget.contributions[0].degrees_of_freedom == 2


def test_a_chart_straight_to_the_last_bit_does_not_make_the_uncertainty_vanish() -> None:
    # The scatter is float noise with one degree of freedom, so the effective ones are beyond all bounds.
    straight = make_chart([ChartPoint(20, 600), ChartPoint(40, 1200), ChartPoint(70, 2100)], "plate")
    found = torque_uncertainty(straight, 40.0, GAUGE, 3.0)
    assert found.budget.expanded == pytest.approx(
        1.96 * math.sqrt(48**2 + 15**2 + 36**2) / math.sqrt(3), rel=1e-4
    )


def test_one_rated_point_has_no_scatter_to_count_but_all_the_rest() -> None:
    rated = make_chart([ChartPoint(70, 9380)], "plate")
    names = [one.name for one in torque_uncertainty(rated, 35.0, GAUGE, 4.0).budget.contributions]
    assert names == ["gauge, class 1.6", "reading of the gauge, half a graduation", "accuracy of the wrench"]


def test_reference_and_repeatability_come_on_top() -> None:
    others = (from_expanded("reference", 47.0), from_readings("repeatability", [4650, 4700, 4720]))
    plain = torque_uncertainty(STRAIGHT, 35.0, GAUGE, 3.0)
    more = torque_uncertainty(STRAIGHT, 35.0, GAUGE, 3.0, others)
    assert more.budget.combined == pytest.approx(
        math.hypot(plain.budget.combined, *(one.standard for one in others))
    )


def test_a_pressure_off_the_chart_or_the_gauge_has_no_uncertainty() -> None:
    with pytest.raises(OffTheChart):
        torque_uncertainty(STRAIGHT, 71.0, GAUGE, 3.0)
    with pytest.raises(OffTheChart):
        torque_uncertainty(STRAIGHT, 65.0, GaugeFacts(read_accuracy("1"), 60.0, 1.0), 3.0)


@pytest.mark.parametrize("share", [0.0, -3.0, math.nan, math.inf])
def test_a_share_that_cannot_be_never_passes_for_a_tolerance(share: float) -> None:
    with pytest.raises(Unreadable, match="above 0 %"):
        torque_uncertainty(STRAIGHT, 35.0, GAUGE, share)
    with pytest.raises(Unreadable, match="above 0 %"):
        torque_uncertainty(STRAIGHT, 35.0, GAUGE, 3.0, tolerance_percent=share)
