"""Bolt load and torque against a published table, a worked example and the energy of the screw."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.steels import MPA_PER_KSI, Grade, yield_strength_mpa
from fleet.bolting.threads import NutSeries, across_flats_mm, read_thread
from fleet.bolting.torque import (
    SCATTER_PERCENT_DRY,
    SCATTER_PERCENT_LUBRICATED,
    SCATTER_WARNING,
    Area,
    Friction,
    area_mm2,
    bearing_diameter_mm,
    load_at_stress_n,
    load_at_yield_share_n,
    load_range_n,
    loosening_torque_nm,
    reaction_force_n,
    short_form_load_n,
    short_form_torque_nm,
    stress_mpa,
    tightening_load_n,
    tightening_torque_nm,
    turned_back_nm,
    yield_share_percent,
)
from fleet.refusals import OffTheChart, Unreadable

LBF_FT = 1.3558179483314004  # N·m, exact by definition (NIST SP 811)
LBF = 4.4482216152605  # N, exact

STUD = read_thread("1 1/2-8")


# Worked by hand: As = π/4·(1.5 − 0.9743/8)² = 1.4918 in²; 0.5 · 105 ksi · As = 78 320 lbf;
# 0.20 · 1.5/12 ft · 78 320 lbf = 1958 lbf·ft.
def test_a_b7_stud_at_half_its_yield_by_the_short_form() -> None:
    load = load_at_yield_share_n(STUD, yield_strength_mpa(Grade.B7, STUD), 50, Area.TENSILE)
    assert load / LBF == pytest.approx(78_320, abs=5)
    assert load == pytest.approx(348_400, abs=50)
    torque = short_form_torque_nm(0.20, STUD, load)
    assert torque / LBF_FT == pytest.approx(1958, abs=0.5)
    assert torque == pytest.approx(2655, abs=1)
    assert short_form_load_n(0.20, STUD, torque) == pytest.approx(load)


# ASME PCC-1-2013, Table 1 (read in quotation): torque in lbf·ft for 50 ksi on the root area, at a coefficient
# of friction of 0.16 and 0.12. The table is rounded up, coarsely at small sizes: the bands are one-sided.
PCC_1_TABLE_1 = [
    ("1-8", 500, 400, 9),
    ("1 1/8-8", 750, 550, 9),
    ("1 1/4-8", 1050, 800, 9),
    ("1 1/2-8", 1800, 1400, 3.5),
    ("1 3/4-8", 2950, 2300, 3.5),
    ("2-8", 4500, 3400, 1.5),
    ("2 1/2-8", 9000, 6800, 1.5),
    ("3-8", 15_700, 11_900, 1.5),
    ("3 1/2-8", 25_300, 19_100, 1.5),
    ("4-8", 38_000, 28_800, 1.5),
]


@pytest.mark.parametrize(("written", "noncoated", "coated", "band_percent"), PCC_1_TABLE_1)
def test_the_long_form_stays_in_the_bands_of_asme_pcc_1(
    written: str, noncoated: float, coated: float, band_percent: float
) -> None:
    thread = read_thread(written)
    load = load_at_stress_n(thread, 50 * MPA_PER_KSI, Area.ROOT)
    bearing = bearing_diameter_mm(thread, across_flats_mm(thread, NutSeries.HEAVY))
    for friction, table in ((0.16, noncoated), (0.12, coated)):
        torque = tightening_torque_nm(thread, load, Friction(friction, friction, bearing)) / LBF_FT
        less_percent = 100 * (1 - torque / table)
        assert -0.5 <= less_percent <= band_percent


@given(st.floats(min_value=0.05, max_value=0.4), st.floats(min_value=100, max_value=200_000))
def test_load_and_torque_are_each_others_inverse(friction: float, torque: float) -> None:
    surfaces = Friction(friction, friction, 49.2)
    load = tightening_load_n(STUD, torque, surfaces)
    assert tightening_torque_nm(STUD, load, surfaces) == pytest.approx(torque)
    assert loosening_torque_nm(STUD, load, surfaces) < torque


def test_the_stress_reached_is_load_over_area() -> None:
    assert stress_mpa(STUD, load_at_stress_n(STUD, 345, Area.ROOT), Area.ROOT) == pytest.approx(345)
    assert area_mm2(STUD, Area.ROOT) < area_mm2(STUD, Area.TENSILE)


# By hand for 1 1/2-8 at 348.4 kN: F·P/π = 348 400 · 3.175/π/1000 = 352 N·m; 2655 − 352 = 2303 N·m.
def test_turning_back_gives_the_pitch_its_work_again_by_the_short_form_too() -> None:
    assert turned_back_nm(STUD, 348_400, 2655) == pytest.approx(2303, abs=0.5)


def test_a_load_beyond_yield_is_refused() -> None:
    load = load_at_yield_share_n(STUD, 724, 50, Area.TENSILE)
    assert yield_share_percent(STUD, 724, load, Area.TENSILE) == pytest.approx(50)
    assert yield_share_percent(STUD, 724, 2 * load, Area.TENSILE) == pytest.approx(100)
    with pytest.raises(Unreadable, match="101 % of the yield"):
        yield_share_percent(STUD, 724, 2.02 * load, Area.TENSILE)


def test_the_reaction_force_of_a_given_arm() -> None:
    # 9,400 N·m over 200 mm: 47 kN, nearly five tonnes at a hand's width.
    assert reaction_force_n(9400, 200) == pytest.approx(47_000)


def test_scatter_opens_the_load_both_ways() -> None:
    assert load_range_n(100_000, 25) == pytest.approx((75_000, 125_000))


# ASTM A193 and A320, inch tables.
@pytest.mark.parametrize(
    ("grade", "written", "ksi"),
    [
        (Grade.B7, "2 1/2-8", 105),
        (Grade.B7, "2 5/8-8", 95),
        (Grade.B7, "4-8", 95),
        (Grade.B7, "4 1/4-8", 75),
        (Grade.B7M, "2-8", 80),
        (Grade.B7M, "4 1/2-8", 75),
        (Grade.B16, "2-8", 105),
        (Grade.B16, "3-8", 95),
        (Grade.B16, "5-8", 85),
        (Grade.L7, "2 1/2-8", 105),
        (Grade.B8_1, "1-8", 30),
        (Grade.B8M_1, "3-8", 30),
        (Grade.B8_2, "3/4-10", 100),
        (Grade.B8_2, "1-8", 80),
        (Grade.B8_2, "1 1/4-8", 65),
        (Grade.B8_2, "1 1/2-8", 50),
        (Grade.B8M_2, "3/4-10", 95),
    ],
)
def test_inch_yields_match_the_astm_tables(grade: Grade, written: str, ksi: float) -> None:
    assert yield_strength_mpa(grade, read_thread(written)) == pytest.approx(ksi * MPA_PER_KSI)


# ASTM A193M and ISO 898-1, from memory.
@pytest.mark.parametrize(
    ("grade", "written", "mpa"),
    [
        (Grade.B7, "M64", 720),
        (Grade.B7, "M68", 655),
        (Grade.B7, "M100x6", 655),
        (Grade.ISO_8_8, "M16", 640),
        (Grade.ISO_8_8, "M20", 660),
        (Grade.ISO_10_9, "M36", 940),
        (Grade.ISO_12_9, "M24", 1100),
    ],
)
def test_metric_yields_match_their_standards(grade: Grade, written: str, mpa: float) -> None:
    assert yield_strength_mpa(grade, read_thread(written)) == mpa


@pytest.mark.parametrize(
    ("grade", "written", "words"),
    [
        (Grade.ISO_8_8, "1-8", "for metric threads only"),
        (Grade.ISO_10_9, "M42", "ends at 39 mm"),
        (Grade.B8_2, "2-8", "ends at 1.5 in"),
        (Grade.L7, "3-8", "ends at 2.5 in"),
    ],
)
def test_a_yield_no_standard_gives_is_refused(grade: Grade, written: str, words: str) -> None:
    with pytest.raises(OffTheChart, match=words):
        yield_strength_mpa(grade, read_thread(written))


@pytest.mark.parametrize("nut_factor", [0.0, -0.2, 1.0, 20.0, float("nan")])
def test_a_nut_factor_that_cannot_be_is_refused(nut_factor: float) -> None:
    with pytest.raises(Unreadable, match="nut factor"):
        short_form_torque_nm(nut_factor, STUD, 1000)


@pytest.mark.parametrize("percent", [0, -5, 100.1, float("nan")])
def test_a_share_of_yield_beyond_the_bolt_is_refused(percent: float) -> None:
    with pytest.raises(Unreadable, match="of yield"):
        load_at_yield_share_n(STUD, 724, percent, Area.TENSILE)


@pytest.mark.parametrize("percent", [0.5, 100])
def test_any_share_up_to_the_whole_yield_has_its_load(percent: float) -> None:
    load = load_at_yield_share_n(STUD, 724, percent, Area.TENSILE)
    assert load == pytest.approx(724 * percent / 100 * area_mm2(STUD, Area.TENSILE))


@pytest.mark.parametrize(
    ("torque", "arm", "name"),
    [(9400, 0, "The reaction arm"), (0, 200, "The torque"), (-5, 200, "The torque")],
)
def test_an_arm_or_torque_of_nothing_is_refused(torque: float, arm: float, name: str) -> None:
    with pytest.raises(Unreadable, match=rf"^{name} must be above zero.$"):
        reaction_force_n(torque, arm)


def test_a_stress_or_strength_of_nothing_is_refused_by_its_name() -> None:
    with pytest.raises(Unreadable, match=r"^The bolt stress must be above zero.$"):
        load_at_stress_n(STUD, 0, Area.ROOT)
    with pytest.raises(Unreadable, match=r"^The yield strength must be above zero.$"):
        load_at_yield_share_n(STUD, 0, 50, Area.TENSILE)
    with pytest.raises(Unreadable, match=r"^The yield strength must be above zero.$"):
        yield_share_percent(STUD, float("nan"), 1000, Area.TENSILE)


def test_the_warning_tells_the_scatter_the_figures_are_made_of() -> None:
    """NASA guidance on fasteners, read in quotation: ±25 % lubricated, ±35 % dry."""
    assert (SCATTER_PERCENT_LUBRICATED, SCATTER_PERCENT_DRY) == (25, 35)
    assert f"±{SCATTER_PERCENT_LUBRICATED:g} % on lubricated" in SCATTER_WARNING
    assert f"±{SCATTER_PERCENT_DRY:g} % on dry" in SCATTER_WARNING
