"""Getting nuts off: the need, the cover, and the mechanics of a clean joint."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.loosening import (
    CoverState,
    Governs,
    Need,
    clean_joint_ratio,
    cover,
    needed_torque,
    say_cover,
)
from fleet.bolting.threads import NutSeries, across_flats_mm, read_thread
from fleet.bolting.torque import Friction, bearing_diameter_mm, loosening_torque_nm, tightening_torque_nm
from fleet.refusals import Unreadable

RUST = "Rusted studs, four years in salt air"
torques = st.floats(min_value=1, max_value=200_000)


def test_a_rusted_joint_needs_more_off_than_on() -> None:
    assert needed_torque(2000, 1.5, RUST) == Need(2000, 3000, 3000, Governs.LOOSENING)


def test_a_clean_joint_is_governed_by_its_tightening() -> None:
    assert needed_torque(2000, 0.75, "Clean, greased, opened last month") == Need(
        2000, 1500, 2000, Governs.TIGHTENING
    )


@given(torques, st.floats(min_value=0.5, max_value=5))
def test_the_need_is_never_below_either_torque(tightening: float, factor: float) -> None:
    need = needed_torque(tightening, factor, RUST)
    assert need.needed_nm == max(need.tightening_nm, need.loosening_nm) or factor == pytest.approx(1)
    assert need.needed_nm >= tightening


@pytest.mark.parametrize("factor", [0.49, 5.01, -1.0, 0.0, math.nan, math.inf])
def test_a_factor_that_must_be_a_slip_is_refused(factor: float) -> None:
    with pytest.raises(Unreadable, match=r"outside 0.5 to 5"):
        needed_torque(2000, factor, RUST)


@pytest.mark.parametrize("reason", ["", "   ", "rust", "          x        "])
def test_a_factor_without_its_reason_is_refused(reason: str) -> None:
    with pytest.raises(Unreadable, match="reason in words"):
        needed_torque(2000, 1.5, reason)


def test_a_factor_at_its_bounds_and_a_reason_of_two_words_are_enough() -> None:
    assert needed_torque(2000, 0.5, "rusty nuts").loosening_nm == 1000
    assert needed_torque(2000, 5.0, "rusty nuts").needed_nm == 10_000


@pytest.mark.parametrize("torque", [0.0, -5.0, math.nan, math.inf])
def test_a_joint_without_a_torque_is_refused(torque: float) -> None:
    with pytest.raises(Unreadable, match="above zero"):
        needed_torque(torque, 1.5, RUST)


@pytest.mark.parametrize(
    ("available", "state"),
    [
        (1000 / 0.9, CoverState.COVERED),
        (1111, CoverState.TIGHT),
        (1000, CoverState.TIGHT),
        (1000 * (1 - 1e-13), CoverState.TIGHT),
        (999.9, CoverState.NOT_COVERED),
        (2000, CoverState.COVERED),
    ],
)
def test_above_nine_tenths_of_what_the_kit_can_give_is_tight(available: float, state: CoverState) -> None:
    assert cover(available, 1000).state is state


def test_the_margin_is_a_share_of_what_the_kit_can_give() -> None:
    assert cover(2000, 1500).margin_percent == pytest.approx(25)
    assert cover(1000, 1500).margin_percent == pytest.approx(-50)


@given(torques, torques)
def test_more_wrench_never_covers_less(available: float, needed: float) -> None:
    order = [CoverState.NOT_COVERED, CoverState.TIGHT, CoverState.COVERED]
    before, after = cover(available, needed), cover(available * 1.1, needed)
    assert order.index(after.state) >= order.index(before.state)
    assert after.margin_percent > before.margin_percent


@pytest.mark.parametrize(("available", "needed"), [(0, 5), (5, 0), (math.nan, 5)])
def test_a_cover_of_nothing_is_refused(available: float, needed: float) -> None:
    with pytest.raises(Unreadable, match="torque available and the torque needed must be above zero"):
        cover(available, needed)


def test_the_sentence_never_sends_anybody_to_more_pressure() -> None:
    for available, words in ((900, "larger wrench, never more pressure"), (1050, "96 % of it: tight")):
        assert words in say_cover(cover(available, 1000), available, 1000)
    assert say_cover(cover(2000, 1000), 2000, 1000).endswith("50 % is left.")


# 0.71 to 0.77 at μ 0.12: computed by hand from T = F/2·(±P/π + μ·d2/cos 30° + μ·De), De = (F + d)/2.
@pytest.mark.parametrize(
    ("written", "series"),
    [
        *((f"M{size}", NutSeries.ISO) for size in (12, 14, 16, 20, 24, 30)),
        *((size, NutSeries.HEAVY) for size in ("1/2-13", "3/4-10", "1-8")),
    ],
)
def test_a_clean_coarse_joint_comes_off_with_about_three_quarters(written: str, series: NutSeries) -> None:
    thread = read_thread(written)
    assert 0.71 <= clean_joint_ratio(thread, across_flats_mm(thread, series), 0.12) <= 0.77


# Worked by hand for M24: d2 22.051, De (36 + 24)/2 = 30, so (0.12·22.051/cos 30° + 0.12·30 − 3/π) over the
# same with + 3/π: (3.0555 + 3.6 − 0.9549) / (3.0555 + 3.6 + 0.9549) = 0.7490.
def test_the_clean_joint_of_an_m24_by_hand() -> None:
    assert clean_joint_ratio(read_thread("M24"), 36, 0.12) == pytest.approx(0.7490, abs=2e-4)


def test_a_finer_thread_holds_its_nut_longer() -> None:
    assert clean_joint_ratio(read_thread("M36x3"), 55, 0.12) > clean_joint_ratio(read_thread("M36"), 55, 0.12)


def test_friction_must_be_a_coefficient() -> None:
    with pytest.raises(Unreadable, match="above zero"):
        clean_joint_ratio(read_thread("M24"), 36, 0.0)


@given(st.floats(min_value=0.05, max_value=0.4), st.floats(min_value=1e3, max_value=1e7))
def test_on_minus_off_is_the_work_of_the_pitch(friction: float, load: float) -> None:
    # Energy: one turn up and one turn down differ by load × pitch × 2, whatever the friction.
    thread = read_thread("1 1/2-8")
    surfaces = Friction(friction, friction, bearing_diameter_mm(thread, 60.325))
    difference = tightening_torque_nm(thread, load, surfaces) - loosening_torque_nm(thread, load, surfaces)
    assert difference * 2 * math.pi == pytest.approx(2 * load * thread.pitch_mm / 1000)
