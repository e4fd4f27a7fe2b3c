"""The order round the flange, and what the pump is set to on the way."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.charts import ChartPoint, make_chart
from fleet.bolting.passes import cross_order, plan_passes
from fleet.refusals import OffTheChart, Unreadable

CHART = make_chart([ChartPoint(p, 100 * p) for p in (10, 40, 70)], "bench sheet 3")

even_counts = st.integers(min_value=2, max_value=100).map(lambda half: 2 * half)


# ASME PCC-1, legacy cross pattern (from memory).
@pytest.mark.parametrize(
    ("bolts", "order"),
    [
        (4, "1-3-2-4"),
        (8, "1-5-3-7-2-6-4-8"),
        (12, "1-7-4-10-2-8-5-11-3-9-6-12"),
        (16, "1-9-5-13-3-11-7-15-2-10-6-14-4-12-8-16"),
        (20, "1-11-6-16-3-13-8-18-5-15-10-20-2-12-7-17-4-14-9-19"),
        (24, "1-13-7-19-4-16-10-22-2-14-8-20-5-17-11-23-3-15-9-21-6-18-12-24"),
    ],
)
def test_the_cross_pattern_matches_asme_pcc_1(bolts: int, order: str) -> None:
    assert "-".join(str(bolt) for bolt in cross_order(bolts)) == order


def test_five_bolts_go_as_a_star() -> None:
    assert cross_order(5) == (1, 3, 5, 2, 4)


@given(st.integers(min_value=3, max_value=200))
def test_every_bolt_is_tightened_once_in_a_pass(bolts: int) -> None:
    assert sorted(cross_order(bolts)) == list(range(1, bolts + 1))


@given(even_counts)
def test_consecutive_pairs_stand_opposite(bolts: int) -> None:
    order = cross_order(bolts)
    for one, other in zip(order[::2], order[1::2], strict=True):
        assert abs(one - other) == bolts // 2


@given(st.integers(min_value=2, max_value=99).map(lambda half: 2 * half + 1))
def test_with_an_odd_count_the_next_bolt_is_nearest_to_opposite(bolts: int) -> None:
    order = cross_order(bolts)
    for one, other in pairwise(order):
        assert (other - one) % bolts in {bolts // 2, bolts // 2 + 1}


@pytest.mark.parametrize("bolts", [2, 0, -8, 201])
def test_no_flange_has_so_few_or_so_many_bolts(bolts: int) -> None:
    with pytest.raises(Unreadable, match="3 to 200"):
        cross_order(bolts)


def test_each_pass_has_its_pressure_and_the_last_goes_round() -> None:
    passes = plan_passes(CHART, 5000, 8)
    assert [each.number for each in passes] == [1, 2, 3, 4]
    assert [each.percent for each in passes] == [30, 60, 100, 100]
    assert [each.torque_nm for each in passes] == pytest.approx([1500, 3000, 5000, 5000])
    readings = [each.reading.pressure_mpa for each in passes if each.reading]
    assert readings == pytest.approx([15, 30, 50, 50])
    assert [each.circular for each in passes] == [False, False, False, True]
    assert passes[-1].order == (1, 2, 3, 4, 5, 6, 7, 8)
    assert passes[-1].note == "Repeat until no nut turns."
    assert passes[0].order == cross_order(8)
    assert passes[0].note == ""


def test_a_pass_below_the_chart_is_marked_and_not_guessed() -> None:
    first, *rest = plan_passes(CHART, 3000, 8)
    assert first.reading is None
    assert first.below_chart
    assert (first.number, first.percent, first.circular) == (1, 30, False)
    assert first.torque_nm == pytest.approx(900)
    assert first.order == cross_order(8)
    assert not any(each.below_chart for each in rest)
    assert "lowest point of the chart" in first.note
    assert all(each.reading for each in rest)


def test_without_a_chart_the_passes_have_torques_and_no_pressures() -> None:
    passes = plan_passes(None, 3000, 8)
    assert [(each.number, each.percent) for each in passes] == [(1, 30), (2, 60), (3, 100), (4, 100)]
    assert [each.circular for each in passes] == [False, False, False, True]
    assert [each.order for each in passes[:3]] == [cross_order(8)] * 3
    assert [each.torque_nm for each in passes] == pytest.approx([900, 1800, 3000, 3000])
    assert [(each.reading, each.note) for each in passes[:3]] == [(None, "")] * 3
    assert passes[-1].note == "Repeat until no nut turns."


def test_a_target_off_the_chart_is_refused_whole() -> None:
    for target in (900, 7100):
        with pytest.raises(OffTheChart):
            plan_passes(CHART, target, 8)


@pytest.mark.parametrize(
    "percents", [(), (60, 30, 100), (30, 30, 100), (0, 100), (-10, 100), (30, 60), (50, 110)]
)
def test_percentages_that_fall_or_end_short_are_refused(percents: tuple[float, ...]) -> None:
    with pytest.raises(Unreadable, match="must rise and end at 100 %"):
        plan_passes(CHART, 5000, 8, percents)


def test_a_first_pass_may_be_as_light_as_one_likes_and_a_refusal_quotes_what_was_written() -> None:
    assert [each.percent for each in plan_passes(None, 5000, 8, (0.5, 100))] == [0.5, 100, 100]
    with pytest.raises(Unreadable, match=r"^The passes \(60, 30.5 %\) must rise"):
        plan_passes(CHART, 5000, 8, (60, 30.5))
    with pytest.raises(Unreadable, match=r"^The passes \(none %\) must rise"):
        plan_passes(CHART, 5000, 8, ())


@given(st.integers(min_value=3, max_value=200), st.lists(st.floats(1, 99), max_size=4, unique=True))
def test_whatever_the_percentages_the_passes_are_counted_and_rise(bolts: int, shares: list[float]) -> None:
    percents = (*sorted(shares), 100.0)
    if any(later < earlier * 1.001 for earlier, later in pairwise(percents)):
        return  # Two that a person could not tell apart.
    passes = plan_passes(None, 4000, bolts, percents)
    assert [each.number for each in passes] == list(range(1, len(percents) + 2))
    assert [each.percent for each in passes] == [*percents, 100]
    assert all(sorted(each.order) == list(range(1, bolts + 1)) for each in passes)


def test_a_target_of_nothing_is_refused() -> None:
    with pytest.raises(Unreadable, match="above zero"):
        plan_passes(CHART, 0, 8)
