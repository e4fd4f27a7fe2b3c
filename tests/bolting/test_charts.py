"""Charts, against numpy.interp as reference library and against themselves read the other way round."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.charts import Chart, ChartPoint, make_chart, pressure_for, torque_at
from fleet.refusals import OffTheChart, Unreadable


def chart(*pairs: tuple[float, float]) -> Chart:
    return make_chart([ChartPoint(*pair) for pair in pairs], "bench sheet 12")


SHEET = chart((10, 1350), (20, 2700), (40, 5500), (70, 9400))

steps = st.floats(min_value=0.01, max_value=50)


@st.composite
def charts(draw: st.DrawFn) -> Chart:
    rises = draw(st.lists(st.tuples(steps, steps), min_size=2, max_size=12))
    pressures = np.cumsum([rise for rise, _ in rises])
    torques = np.cumsum([100 * rise for _, rise in rises])
    return chart(*zip(pressures.tolist(), torques.tolist(), strict=True))


shares = st.floats(min_value=0, max_value=1)


def at_share(low: float, high: float, share: float) -> float:
    return min(low + share * (high - low), high)


def test_a_charted_pressure_gives_its_charted_torque_exactly() -> None:
    for point in SHEET.points:
        reading = torque_at(SHEET, point.pressure_mpa)
        assert reading.torque_nm == point.torque_nm
        assert reading.below == reading.above == point
        assert not reading.approximate


def test_between_two_points_the_reading_names_both() -> None:
    reading = pressure_for(SHEET, 4100)
    assert reading.pressure_mpa == pytest.approx(30)
    assert (reading.below, reading.above) == (ChartPoint(20, 2700), ChartPoint(40, 5500))


@given(charts(), shares)
def test_torque_agrees_with_numpy_inside_the_chart(drawn: Chart, share: float) -> None:
    asked = at_share(drawn.bottom.pressure_mpa, drawn.top.pressure_mpa, share)
    pressures = [point.pressure_mpa for point in drawn.points]
    torques = [point.torque_nm for point in drawn.points]
    assert torque_at(drawn, asked).torque_nm == pytest.approx(np.interp(asked, pressures, torques), rel=1e-9)


@given(charts(), shares)
def test_pressure_agrees_with_numpy_inside_the_chart(drawn: Chart, share: float) -> None:
    asked = at_share(drawn.bottom.torque_nm, drawn.top.torque_nm, share)
    pressures = [point.pressure_mpa for point in drawn.points]
    torques = [point.torque_nm for point in drawn.points]
    assert pressure_for(drawn, asked).pressure_mpa == pytest.approx(
        np.interp(asked, torques, pressures), rel=1e-9
    )


@given(charts(), shares)
def test_reading_there_and_back_comes_home(drawn: Chart, share: float) -> None:
    asked = at_share(drawn.bottom.torque_nm, drawn.top.torque_nm, share)
    assert torque_at(drawn, pressure_for(drawn, asked).pressure_mpa).torque_nm == pytest.approx(
        asked, rel=1e-6
    )


@given(charts(), shares, shares)
def test_more_torque_never_needs_less_pressure(drawn: Chart, one: float, other: float) -> None:
    low, high = sorted(at_share(drawn.bottom.torque_nm, drawn.top.torque_nm, share) for share in (one, other))
    assert pressure_for(drawn, low).pressure_mpa <= pressure_for(drawn, high).pressure_mpa


@given(charts(), shares, shares)
def test_more_pressure_never_gives_less_torque(drawn: Chart, one: float, other: float) -> None:
    ends = drawn.bottom.pressure_mpa, drawn.top.pressure_mpa
    low, high = sorted(at_share(*ends, share) for share in (one, other))
    assert torque_at(drawn, low).torque_nm <= torque_at(drawn, high).torque_nm


@given(charts(), st.floats(min_value=1.000001, max_value=100))
def test_nothing_is_read_off_either_end(drawn: Chart, factor: float) -> None:
    for ask in (drawn.top.torque_nm * factor, drawn.bottom.torque_nm / factor):
        with pytest.raises(OffTheChart):
            pressure_for(drawn, ask)
    for ask in (drawn.top.pressure_mpa * factor, drawn.bottom.pressure_mpa / factor):
        with pytest.raises(OffTheChart):
            torque_at(drawn, ask)


def test_the_refusal_names_what_was_asked_and_the_range() -> None:
    with pytest.raises(OffTheChart) as refused:
        pressure_for(SHEET, 9500)
    assert str(refused.value) == "9,500 N·m lies outside the chart, which runs from 1,350 N·m to 9,400 N·m."
    with pytest.raises(OffTheChart, match=r"5 MPa \(50 bar\) .* 10 MPa \(100 bar\) to 70 MPa \(700 bar\)"):
        torque_at(SHEET, 5)


def test_a_torque_that_came_through_a_unit_conversion_still_meets_the_top_point() -> None:
    reading = pressure_for(SHEET, 9400 * (1 + 1e-13))
    assert reading.pressure_mpa == 70
    assert reading.torque_nm == 9400


def test_what_is_not_a_number_is_off_the_chart() -> None:
    with pytest.raises(OffTheChart):
        torque_at(SHEET, math.nan)


def test_one_rated_point_is_proportional_and_says_so() -> None:
    rated = chart((70, 9400))
    reading = pressure_for(rated, 4700)
    assert reading.pressure_mpa == pytest.approx(35)
    assert reading.approximate
    assert (reading.below, reading.above) == (None, ChartPoint(70, 9400))
    assert torque_at(rated, 14).torque_nm == pytest.approx(1880)


def test_one_rated_point_ends_at_the_point_and_at_a_fifth_of_it() -> None:
    rated = chart((70, 9400))
    with pytest.raises(OffTheChart, match="one rated point only"):
        torque_at(rated, 13.9)
    with pytest.raises(OffTheChart, match="one rated point only"):
        torque_at(rated, 70.1)


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        (
            [(10, 1000), (10, 1200)],
            r"Point 2 .*1,200 N·m at 10 MPa.*\) repeats the pressure of the point before it",
        ),
        ([(10, 1000), (20, 2000), (15, 2500)], r"Point 3 .*15 MPa.*\) has a lower pressure than the point"),
        ([(10, 1000), (20, 900)], r"Point 2 .*no more torque"),
        ([(10, 1000), (20, 1000)], r"Point 2 .*no more torque"),
        ([(0, 0), (20, 1000)], r"Point 1 .*above zero"),
        ([(10, 1000), (20, -5)], r"Point 2 .*above zero"),
        ([(10, math.nan)], r"Point 1 .*above zero"),
        ([(math.inf, 10)], r"Point 1 .*above zero"),
        ([], "at least one point"),
    ],
)
def test_a_wrong_chart_is_refused_with_the_point_named(pairs: list[tuple[float, float]], words: str) -> None:
    with pytest.raises(Unreadable, match=words):
        chart(*pairs)


@pytest.mark.parametrize(
    ("torque", "written"),
    [(7000.4, "7,001 N·m"), (7004.0, "7,004 N·m"), (999.96, "999.9 N·m"), (999.4, "999.4 N·m")],
)
def test_what_was_asked_never_looks_like_the_end_of_the_chart(torque: float, written: str) -> None:
    bench = make_chart([ChartPoint(p, 100 * p) for p in (10, 40, 70)], "bench sheet 3")
    assert bench.source == "bench sheet 3"
    with pytest.raises(OffTheChart, match=f"^{written} lies outside the chart, which runs from 1,000"):
        pressure_for(bench, torque)
