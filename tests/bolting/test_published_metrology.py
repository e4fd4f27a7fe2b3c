"""Fits, budgets and distributions as metrology guides and statistical reference data print them.

Each check names its source; unless a comment says otherwise, values are from memory and were found to agree.
"""

import math
import statistics

import pytest

from fleet.bolting.distributions import beta_below, normal_below, student_factor
from fleet.bolting.gauges import gauge_error, read_accuracy
from fleet.bolting.uncertainty import (
    Contribution,
    add_up,
    fit_line,
    from_expanded,
    from_readings,
    within_limits,
)
from fleet.rules.intervals import reliability

# NIST Statistical Reference Datasets, linear regression, "Norris": calibration of an ozone monitor, y and x.
NORRIS = """
0.1 0.2  338.8 337.4  118.1 118.2  888.0 884.6  9.2 10.1  228.1 226.5  668.5 666.3  998.5 996.3  449.1 448.6
778.9 777.0  559.2 558.2  0.3 0.4  0.1 0.6  778.1 775.5  668.8 666.9  339.3 338.0  448.9 447.5  10.8 11.6
557.7 556.0  228.3 228.1  998.0 995.8  888.8 887.6  119.6 120.2  0.3 0.3  0.6 0.3  557.6 556.8  339.3 339.1
888.0 887.2  998.5 999.0  778.9 779.0  10.2 11.1  117.6 118.3  228.9 229.2  668.4 669.1  449.2 448.9  0.2 0.5
"""


def test_the_norris_data_of_nist_give_their_certified_line() -> None:
    figures = [float(figure) for figure in NORRIS.split()]
    line = fit_line(figures[1::2], figures[0::2])
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.u_intercept == pytest.approx(0.232818234301152, rel=1e-9)
    assert line.u_slope == pytest.approx(0.429796848199937e-3, rel=1e-9)
    assert line.residual == pytest.approx(0.884796396144373, rel=1e-9)
    assert line.degrees_of_freedom == 34


# Anscombe, Graphs in Statistical Analysis (1973): four sets of points with one and the same line.
ANSCOMBE_X = (10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5)
ANSCOMBE = [
    (ANSCOMBE_X, (8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68)),
    (ANSCOMBE_X, (9.14, 8.14, 8.74, 8.77, 9.26, 8.10, 6.13, 3.10, 9.13, 7.26, 4.74)),
    (ANSCOMBE_X, (7.46, 6.77, 12.74, 7.11, 7.81, 8.84, 6.08, 5.39, 8.15, 6.42, 5.73)),
    ((8, 8, 8, 8, 8, 8, 8, 19, 8, 8, 8), (6.58, 5.76, 7.71, 8.84, 8.47, 7.04, 5.25, 12.50, 5.56, 7.91, 6.89)),
]


@pytest.mark.parametrize(("xs", "ys"), ANSCOMBE)
def test_the_quartet_of_anscombe_has_one_line(xs: tuple[float, ...], ys: tuple[float, ...]) -> None:
    line = fit_line(xs, ys)
    assert line.intercept == pytest.approx(3.00, abs=0.005)
    assert line.slope == pytest.approx(0.500, abs=5e-4)
    assert line.u_intercept == pytest.approx(1.12, abs=0.006)
    assert line.u_slope == pytest.approx(0.118, abs=5e-4)
    assert line.residual == pytest.approx(1.24, abs=0.006)


# --- JCGM 100 (GUM), the examples of clause 4 and annex G ---------------------------------------------------

# GUM 4.4.3, table 1: twenty temperatures in °C.
TEMPERATURES = (
    *(96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07),
    *(100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72),
)


def test_the_twenty_temperatures_of_gum_4_4_3() -> None:
    assert statistics.fmean(TEMPERATURES) == pytest.approx(100.145, abs=6e-3)
    repeat = from_readings("temperature", TEMPERATURES)
    assert repeat.standard == pytest.approx(0.33, abs=5e-3)
    assert repeat.standard * math.sqrt(20) == pytest.approx(1.49, abs=5e-3)
    assert repeat.degrees_of_freedom == 19


def test_limits_as_gum_4_3_7_and_4_4_5_take_them() -> None:
    # Thermal expansion of copper: 16.52 ± 0.40, u = 0.23; a temperature from 96 to 104 °C: u = 2.3 °C.
    assert within_limits("copper", 0.40).standard == pytest.approx(0.23, abs=5e-3)
    assert within_limits("temperature", 4.0).standard == pytest.approx(2.3, abs=0.05)


def test_certificates_as_gum_4_3_3_and_4_3_4_read_them() -> None:
    # A mass with 240 µg at three standard deviations: 80 µg. A resistor with 129 µΩ at 99 %: 50 µΩ.
    assert from_expanded("mass", 240, 3).standard == pytest.approx(80)
    at_99 = student_factor(0.99, math.inf)
    assert from_expanded("resistor", 129, at_99).standard == pytest.approx(50, abs=0.2)


# GUM G.4.1, note: relative uncertainties of 0.25, 0.57 and 0.82 % from 10, 5 and 15 observations: 1.03 %,
# 19 effective degrees of freedom, t95 = 2.09, U95 = 2.2 %.
def test_the_effective_degrees_of_freedom_of_gum_g_4_1() -> None:
    budget = add_up([Contribution("1", 0.25, 9), Contribution("2", 0.57, 4), Contribution("3", 0.82, 14)])
    assert budget.combined == pytest.approx(1.03, abs=5e-3)
    assert budget.degrees_of_freedom == pytest.approx(19.0, abs=0.1)
    assert budget.coverage_factor == pytest.approx(2.09, abs=0.012)
    assert budget.expanded == pytest.approx(2.2, abs=0.06)


# --- Other guides -------------------------------------------------------------------------------------------


# EA-4/02, example S2, calibration of a 10 kg weight: contributions in mg; 29.3 mg, U = 59 mg with k = 2.
def test_the_weight_of_ea_4_02() -> None:
    shares = [Contribution(name, mg) for name, mg in (("standard", 22.5), ("drift", 8.95), ("repeat", 14.4))]
    shares += [within_limits("comparator", 10), within_limits("buoyancy", 10)]
    budget = add_up(shares, confidence=0.9545)
    assert budget.combined == pytest.approx(29.3, abs=0.1)
    assert budget.expanded == pytest.approx(59, abs=0.6)


# NPL Good Practice Guide 11, how long is a piece of string: in mm, tape 5.0 (k = 2), division 0.5, string not
# straight 10, mean of ten readings 0.7; combined 6.4 mm, expanded 12.8 mm with k = 2. The guide rounds each
# share to a tenth before it adds them.
def test_the_piece_of_string_of_npl_guide_11() -> None:
    budget = add_up(
        [
            from_expanded("tape", 5.0),
            within_limits("division", 0.5),
            within_limits("string not straight", 10.0),
            Contribution("repeat", 0.7, 9),
        ],
        confidence=0.9545,
    )
    assert budget.combined == pytest.approx(6.4, abs=0.07)
    assert budget.expanded == pytest.approx(12.8, abs=0.14)
    # By hand: 33.3 / 40.2.
    assert budget.share_percent(budget.contributions[2]) == pytest.approx(83, abs=0.5)


# EURACHEM/CITAC CG 4, example A1, a calibration standard: purity ±0.0001 (0.000058), weighing 0.05 of 100.28,
# volume 0.07 of 100; relative 0.0009, and 1.8 mg/L of 1002.7 with k = 2.
def test_the_calibration_standard_of_eurachem() -> None:
    purity = within_limits("purity", 0.0001)
    assert purity.standard == pytest.approx(0.000058, abs=5e-7)
    shares = [purity, Contribution("weighing", 0.05 / 100.28), Contribution("volume", 0.07 / 100)]
    budget = add_up(shares, confidence=0.9545)
    assert budget.combined == pytest.approx(0.0009, abs=5e-5)
    assert budget.expanded * 1002.7 == pytest.approx(1.8, abs=0.1)


# NIST Technical Note 1297, table B.1: t for 95.45 % and 99.73 %.
@pytest.mark.parametrize(
    ("freedom", "at_95_45", "at_99_73"),
    [
        (1, 13.97, 235.80),
        (2, 4.53, 19.21),
        (3, 3.31, 9.22),
        (5, 2.65, 5.51),
        (10, 2.28, 3.96),
        (20, 2.13, 3.42),
    ],
)
def test_factors_match_nist_tn_1297(freedom: float, at_95_45: float, at_99_73: float) -> None:
    assert student_factor(0.9545, freedom) == pytest.approx(at_95_45, abs=0.006)
    # The table is worked with three standard deviations, 99.7300 %.
    assert student_factor(math.erf(3 / math.sqrt(2)), freedom) == pytest.approx(at_99_73, rel=1.5e-3)


# Abramowitz and Stegun, Handbook of Mathematical Functions, table 26.1: the normal distribution.
@pytest.mark.parametrize(
    ("x", "p"),
    [
        (0.0, 0.5),
        (0.5, 0.691462461274),
        (1.0, 0.841344746069),
        (1.5, 0.933192798731),
        (2.0, 0.977249868052),
        (2.5, 0.993790334674),
        (3.0, 0.998650101968),
    ],
)
def test_the_normal_distribution_matches_abramowitz_and_stegun(x: float, p: float) -> None:
    assert normal_below(x) == pytest.approx(p, abs=5e-13)
    assert normal_below(-x) == pytest.approx(1 - p, abs=5e-13)


# DLMF 8.17.4 and 8.17.5: the mirror, and the binomial sum behind the incomplete beta function.
@pytest.mark.parametrize(
    ("within", "count", "share"), [(27, 30, 0.9), (3, 10, 0.25), (1, 5, 0.5), (58, 59, 0.95)]
)
def test_the_incomplete_beta_function_is_the_binomial_sum_of_the_dlmf(
    within: int, count: int, share: float
) -> None:
    tail = math.fsum(
        math.comb(count, n) * share**n * (1 - share) ** (count - n) for n in range(within, count + 1)
    )
    assert beta_below(share, within, count - within + 1) == pytest.approx(tail, rel=1e-12)
    assert beta_below(share, within, count - within + 1) == pytest.approx(
        1 - beta_below(1 - share, count - within + 1, within), rel=1e-9
    )


# Wilks (1941) and the success-run tables made from it: the least sample without a failure for a confidence
# and a share.
@pytest.mark.parametrize(
    ("confidence", "share", "sample"),
    [
        (0.90, 0.90, 22),
        (0.95, 0.90, 29),
        (0.90, 0.95, 45),
        (0.95, 0.95, 59),
        (0.95, 0.99, 299),
        (0.90, 0.99, 230),
    ],
)
def test_samples_without_a_failure_match_the_tables_of_wilks(
    confidence: float, share: float, sample: int
) -> None:
    assert reliability(sample, sample, confidence).lower >= share
    assert reliability(sample - 1, sample - 1, confidence).lower < share


# EN 837-1, table of accuracy classes: limits of permissible error as a share of the span.
@pytest.mark.parametrize("accuracy", [0.1, 0.25, 0.6, 1, 1.6, 2.5, 4])
def test_every_class_of_en_837_1_is_its_share_of_the_span(accuracy: float) -> None:
    found = gauge_error(read_accuracy(f"{accuracy:g}"), 100.0, 60.0)
    assert found.error_mpa == pytest.approx(accuracy)


# ASME B40.100: permissible error in % of span for lower quarter, middle half and upper quarter.
@pytest.mark.parametrize(
    ("grade", "errors"),
    [
        ("4A", (0.1, 0.1, 0.1)),
        ("3A", (0.25, 0.25, 0.25)),
        ("2A", (0.5, 0.5, 0.5)),
        ("1A", (1, 1, 1)),
        ("A", (2, 1, 2)),
        ("B", (3, 2, 3)),
        ("C", (4, 3, 4)),
        ("D", (5, 5, 5)),
    ],
)
def test_every_grade_of_asme_b40_100_is_its_share_of_the_span(
    grade: str, errors: tuple[float, float, float]
) -> None:
    for reading, percent in zip((10.0, 50.0, 90.0), errors, strict=True):
        assert gauge_error(read_accuracy(grade), 100.0, reading).error_mpa == pytest.approx(percent)
