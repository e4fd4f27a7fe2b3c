"""Strokes and time: by hand, and by the energy of the piston."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.strokes import (
    MOST_DEGREES,
    MOST_STROKE_DEGREES,
    plan_strokes,
    strokes_for_angle,
    swept_volume_cm3,
)
from fleet.refusals import Unreadable


@pytest.mark.parametrize(
    ("turn", "stroke", "count"), [(60, 30, 2), (61, 30, 3), (29, 30, 1), (360, 27.5, 14), (0.3, 0.1, 3)]
)
def test_a_started_stroke_counts_whole(turn: float, stroke: float, count: int) -> None:
    assert strokes_for_angle(turn, stroke) == count


# By hand: 9,400 N·m at 70 MPa over 30°: 9400·(π/6)/70 = 70.3 cm³.
def test_the_swept_volume_follows_from_the_chart() -> None:
    assert swept_volume_cm3(9400, 70, 30) == pytest.approx(70.31, abs=0.01)


@given(
    st.floats(min_value=10, max_value=1e5),
    st.floats(min_value=1, max_value=70),
    st.floats(min_value=1, max_value=90),
)
def test_the_work_of_the_oil_is_the_work_at_the_nut(torque: float, pressure: float, angle: float) -> None:
    oil_joule = pressure * swept_volume_cm3(torque, pressure, angle)
    assert oil_joule == pytest.approx(torque * math.radians(angle))


# By hand: 3 strokes of 70 + 35 cm³ at 1.2 L/min (20 cm³/s) are 15.75 s; 12 bolts in 2 passes are 72 strokes
# and 378 s.
def test_a_job_worked_by_hand() -> None:
    found = plan_strokes(12, 3, 70, 35, 1.2, passes=2)
    assert found.seconds_per_nut == pytest.approx(15.75)
    assert found.cycles == 72
    assert found.seconds == pytest.approx(378)


@given(st.integers(1, 50), st.integers(1, 20), st.floats(0.1, 5))
def test_a_faster_pump_never_takes_longer(bolts: int, strokes: int, flow: float) -> None:
    slow, fast = (plan_strokes(bolts, strokes, 70, 70, litres) for litres in (flow, flow * 1.5))
    assert fast.seconds < slow.seconds
    assert fast.cycles == slow.cycles


def test_what_cannot_be_is_refused() -> None:
    for turn, stroke in ((0, 30), (3601, 30), (60, 0), (60, 361), (math.nan, 30)):
        with pytest.raises(Unreadable):
            strokes_for_angle(turn, stroke)
    for figures in ((0, 3, 70, 70, 1.2), (12, 0, 70, 70, 1.2), (12, 3, 0, 70, 1.2), (12, 3, 70, 70, 0)):
        with pytest.raises(Unreadable):
            plan_strokes(*figures)
    with pytest.raises(Unreadable):
        plan_strokes(12, 3, 70, 70, 1.2, passes=0)
    with pytest.raises(Unreadable):
        swept_volume_cm3(0, 70, 30)


def test_ten_turns_and_a_stroke_of_a_whole_turn_are_the_most() -> None:
    assert (MOST_DEGREES, MOST_STROKE_DEGREES) == (3600, 360)
    assert strokes_for_angle(MOST_DEGREES, MOST_STROKE_DEGREES) == 10
    with pytest.raises(Unreadable, match=r"^A nut turned by 3601°: write the angle"):
        strokes_for_angle(3601, 30)
    with pytest.raises(Unreadable, match="A stroke of 361° cannot be"):
        strokes_for_angle(60, 361)


def test_a_single_bolt_in_a_single_stroke_is_a_job_too() -> None:
    """60 + 30 cm³ at 5.4 L/min (90 cm³/s) take a second."""
    found = plan_strokes(1, 1, 60, 30, 5.4)
    assert (found.per_nut, found.cycles) == (1, 1)
    assert (found.seconds_per_nut, found.seconds) == pytest.approx((1, 1))


@pytest.mark.parametrize("figures", [(0, 1, 70, 70, 1.2, 1), (1, 0, 70, 70, 1.2, 1), (1, 1, 70, 70, 1.2, 0)])
def test_what_is_counted_is_counted_from_one(figures: tuple[int, int, float, float, float, int]) -> None:
    with pytest.raises(Unreadable, match="are counted from one"):
        plan_strokes(*figures)


@pytest.mark.parametrize("figures", [(1, 1, 0, 70, 1.2), (1, 1, 70, 0, 1.2), (1, 1, 70, 70, 0)])
def test_oil_and_flow_are_above_zero(figures: tuple[int, int, float, float, float]) -> None:
    with pytest.raises(Unreadable, match="must be above zero"):
        plan_strokes(*figures)


@pytest.mark.parametrize("figures", [(0, 70, 30), (9400, 0, 30), (9400, 70, 0)])
def test_a_swept_volume_of_nothing_is_refused(figures: tuple[float, float, float]) -> None:
    with pytest.raises(Unreadable, match="angle of a stroke must be above zero"):
        swept_volume_cm3(*figures)
