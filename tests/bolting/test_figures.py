"""How figures are written: a rating down, a demand up, and a fact and a sentence alike."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.figures import SI, Units, inches, left_over, percent
from fleet.measures.quantities import Kind, read_measure

PSI = Units("psi", "lbf·ft")
BAR = Units("bar", "N·m")
N_M_PER_LBF_FT = 1.3558179483314
"""NIST SP 811, appendix B.8."""

pressures = st.floats(0.1, 200)


def back(written: str, kind: Kind) -> float:
    return read_measure(written, kind).base


def test_a_rating_goes_down_and_a_demand_up() -> None:
    # 700 bar is 10,152.64 psi (NIST SP 811: 1 psi is 6,894.757 Pa).
    assert (PSI.rating(70.0), PSI.setting(70.0), PSI.reading(70.0)) == (
        "10,152 psi",
        "10,153 psi",
        "10,153 psi",
    )
    assert (PSI.given(1000), PSI.needed(1000), PSI.target(1000)) == (
        "737.5 lbf·ft",
        "737.6 lbf·ft",
        "737.6 lbf·ft",
    )


def test_a_product_of_whole_figures_is_not_rounded_up_for_float_noise() -> None:
    needed_nm = 19_900 * N_M_PER_LBF_FT * 1.6
    assert PSI.needed(needed_nm) == "31,840 lbf·ft"
    assert PSI.given(needed_nm) == "31,840 lbf·ft"


def test_megapascals_have_bar_beside_them_rounded_the_same_way() -> None:
    assert SI.rating(68.94757) == "68.94 MPa (689.4 bar)"
    assert SI.setting(68.94757) == "68.95 MPa (689.5 bar)"


def test_what_is_not_known_is_not_written() -> None:
    assert PSI.rating(None) == PSI.setting(None) == PSI.reading(None) == ""
    assert PSI.given(None) == PSI.needed(None) == PSI.target(None) == ""


@pytest.mark.parametrize("value", [math.inf, math.nan, 1e300])
def test_what_cannot_be_a_figure_is_quoted_as_it_is(value: float) -> None:
    assert f"{value:.6g}" in BAR.needed(value)


def test_what_is_left_goes_down() -> None:
    # 7,050 of 7,520 N·m is 93.75 %.
    assert left_over(100 * (1 - 7050 / 7520)) == 6
    assert left_over(100 * (1 - 31_840 / 25_800)) == -24
    assert left_over(100 * (1 - 0.75)) == 25


@given(pressures, pressures)
def test_a_demand_above_a_rating_never_looks_like_it(demand: float, rating: float) -> None:
    if demand > rating * (1 + 1e-8):
        for units in (PSI, BAR):
            shown = back(units.setting(demand), Kind.PRESSURE), back(units.rating(rating), Kind.PRESSURE)
            assert shown[0] > shown[1]


@given(pressures)
def test_no_rating_is_shown_above_itself_and_no_demand_below(value: float) -> None:
    for units in (PSI, BAR):
        assert back(units.rating(value), Kind.PRESSURE) <= value * (1 + 1e-8)
        assert back(units.setting(value), Kind.PRESSURE) >= value * (1 - 1e-8)


@pytest.mark.parametrize(
    ("length_mm", "written"),
    [
        (12.7, "1/2 in"),
        (19.05, "3/4 in"),
        (25.4, "1 in"),
        (38.1, "1 1/2 in"),
        (63.5, "2 1/2 in"),
        (60.325, "2 3/8 in"),
        (79.375, "3 1/8 in"),
        (36.0, "1 7/16 in"),
    ],
)
def test_a_width_in_inches_is_written_as_on_a_socket(length_mm: float, written: str) -> None:
    """Square drives, and heavy hex nuts of ASME B18.2.2; 36 mm is 1.417 in, nearest 1 7/16."""
    assert inches(length_mm) == written


def test_what_is_asked_for_goes_up_to_the_next_ten_or_the_next_hundredth_of_a_kilonewton_metre() -> None:
    assert [SI.at_least(nm) for nm in (9400.0, 9400.1, 9409.9)] == ["9,400 N·m", "9,410 N·m", "9,410 N·m"]
    kilo = Units("MPa", "kN·m")
    assert [kilo.at_least(nm) for nm in (9400.0, 9401.0)] == ["9.4 kN·m", "9.41 kN·m"]


@pytest.mark.parametrize(
    ("share", "written"),
    [(3.0, "3.0 %"), (3.01, "3.1 %"), (0.1 + 0.2, "0.3 %"), (99.99, "100.0 %"), (0.0, "0.0 %")],
)
def test_a_share_that_is_asked_for_is_rounded_up(share: float, written: str) -> None:
    assert percent(share) == written
