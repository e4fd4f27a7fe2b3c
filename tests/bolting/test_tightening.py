"""One bolt tightened: load, torque, stress and yield together, against a worked example."""

import math

import pytest

from fleet.bolting.steels import MPA_PER_KSI, Grade
from fleet.bolting.threads import NutSeries, across_flats_mm, read_thread
from fleet.bolting.tightening import NutFactor, load_for_torque_n, tighten
from fleet.bolting.torque import Area, Friction, bearing_diameter_mm
from fleet.refusals import Unreadable

STUD = read_thread("1 1/2-8")
LOAD = 348_400.0
GREASE = NutFactor(0.2)
DE = bearing_diameter_mm(STUD, across_flats_mm(STUD, NutSeries.HEAVY))


# By hand: As = 1.4918 in² = 962.4 mm² (ASME B1.1); 348.4 kN is half the 105 ksi of B7 (ASTM A193); 0.20 ·
# 38.1 mm · 348.4 kN = 2655 N·m; a clean nut gives back F·P/π = 348.4 · 3.175/π = 352.1 N·m.
def test_a_b7_stud_at_half_its_yield() -> None:
    found = tighten(STUD, LOAD, GREASE, Area.TENSILE, Grade.B7)
    assert found.preload_n == LOAD
    assert found.torque_nm == pytest.approx(2655, abs=1)
    assert found.loosening_clean_nm == pytest.approx(2655 - 352.1, abs=1)
    assert found.stress_mpa == pytest.approx(362.0, abs=0.1)
    assert found.yield_mpa == pytest.approx(105 * MPA_PER_KSI)
    assert found.percent_of_yield == pytest.approx(50, abs=0.02)
    assert found.clean_ratio == pytest.approx(found.loosening_clean_nm / found.torque_nm)


def test_on_the_root_area_the_same_load_is_more_stress() -> None:
    tensile, root = (tighten(STUD, LOAD, GREASE, area, Grade.B7) for area in (Area.TENSILE, Area.ROOT))
    # ASME B1.1: π/4·(1.5 − 1.3/8)² = 1.4053 in².
    assert root.stress_mpa == pytest.approx(LOAD / (1.4053 * 25.4**2), rel=1e-3)
    assert root.percent_of_yield is not None
    assert tensile.percent_of_yield is not None
    assert root.percent_of_yield > tensile.percent_of_yield


def test_without_a_grade_there_is_no_yield_to_hold_it_against() -> None:
    found = tighten(STUD, LOAD, GREASE, Area.TENSILE)
    assert (found.yield_mpa, found.percent_of_yield) == (None, None)
    assert found.torque_nm == pytest.approx(2655, abs=1)


def test_by_friction_the_torque_is_that_of_the_long_form() -> None:
    friction = Friction(0.12, 0.14, DE)
    by_hand = (
        LOAD / 2000 * (3.175 / math.pi + 0.12 * (38.1 - 0.649519 * 3.175) / math.cos(math.pi / 6) + 0.14 * DE)
    )
    assert tighten(STUD, LOAD, friction, Area.TENSILE).torque_nm == pytest.approx(by_hand)
    assert load_for_torque_n(STUD, by_hand, friction) == pytest.approx(LOAD)
    assert load_for_torque_n(STUD, 2654.8, GREASE) == pytest.approx(2654.8 / 0.2 / 0.0381)


@pytest.mark.parametrize("nothing", [0.0, -1.0, math.nan, math.inf])
def test_a_load_or_torque_of_nothing_is_refused(nothing: float) -> None:
    with pytest.raises(Unreadable, match=r"^The bolt load must be above zero.$"):
        tighten(STUD, nothing, GREASE, Area.TENSILE)
    with pytest.raises(Unreadable, match=r"^The torque must be above zero.$"):
        load_for_torque_n(STUD, nothing, GREASE)


def test_a_load_beyond_yield_is_refused() -> None:
    with pytest.raises(Unreadable, match="stretch for good"):
        tighten(STUD, 3 * LOAD, GREASE, Area.TENSILE, Grade.B7)
