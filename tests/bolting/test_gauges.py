"""What a gauge may be off, and what it can show."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.gauges import Accuracy, gauge_error, read_accuracy, round_to_gauge
from fleet.refusals import OffTheChart, Unreadable

GRADE_B = Accuracy("grade B", 3, 2, 3)


@pytest.mark.parametrize(
    ("written", "name", "percents"),
    [
        ("1.6", "class 1.6", (1.6, 1.6, 1.6)),
        ("1,6", "class 1.6", (1.6, 1.6, 1.6)),
        ("class 0.6", "class 0.6", (0.6, 0.6, 0.6)),
        ("EN 837-1 cl. 2.5", "class 2.5", (2.5, 2.5, 2.5)),
        ("1", "class 1", (1, 1, 1)),
        ("0.5 %", "class 0.5", (0.5, 0.5, 0.5)),
        ("1A", "grade 1A", (1, 1, 1)),
        ("grade 2a", "grade 2A", (0.5, 0.5, 0.5)),
        ("3A", "grade 3A", (0.25, 0.25, 0.25)),
        ("4A", "grade 4A", (0.1, 0.1, 0.1)),
        ("ASME B40.100 Grade A", "grade A", (2, 1, 2)),
        ("B", "grade B", (3, 2, 3)),
        ("C", "grade C", (4, 3, 4)),
        ("D", "grade D", (5, 5, 5)),
        ("5", "class 5", (5, 5, 5)),
    ],
)
def test_an_accuracy_is_read_as_it_stands_on_the_dial(
    written: str, name: str, percents: tuple[float, float, float]
) -> None:
    assert read_accuracy(written) == Accuracy(name, *percents)


@pytest.mark.parametrize("written", ["", "0", "5.1", "16", "5A", "E", "good", "1.6.1", "-1", "nan"])
def test_an_accuracy_nobody_prints_is_refused(written: str) -> None:
    with pytest.raises(Unreadable, match="no accuracy of a gauge"):
        read_accuracy(written)


# EN 837-1: class 1.6 on 1000 bar is ±16 bar anywhere; computed from there.
@pytest.mark.parametrize(("bar", "percent"), [(100, 16.0), (250, 6.4), (500, 3.2), (700, 2.29)])
def test_a_class_1_6_gauge_is_poor_at_the_bottom_of_its_scale(bar: float, percent: float) -> None:
    found = gauge_error(read_accuracy("1.6"), 100.0, bar / 10)
    assert found.error_mpa == pytest.approx(1.6)
    assert found.percent_of_reading == pytest.approx(percent, abs=0.005)


# ASME B40.100, grade B: 3 % of span in the outer quarters, 2 % in the middle half.
@pytest.mark.parametrize(
    ("reading", "error"), [(10, 3), (25, 3), (25.1, 2), (50, 2), (74.9, 2), (75, 3), (100, 3)]
)
def test_a_grade_b_gauge_is_best_in_its_middle_half(reading: float, error: float) -> None:
    assert gauge_error(GRADE_B, 100.0, reading).error_mpa == pytest.approx(error)


@pytest.mark.parametrize(("reading", "error"), [(10, 1), (24, 1), (26, 9), (74, 9), (76, 2), (100, 2)])
def test_each_part_of_the_range_has_its_own_error_whichever_is_the_larger(
    reading: float, error: float
) -> None:
    assert gauge_error(Accuracy("invented", 1, 9, 2), 100.0, reading).error_mpa == pytest.approx(error)


def test_the_end_of_the_scale_can_be_read_through_any_unit() -> None:
    """Float noise of a conversion puts the pointer a hair past the last line."""
    assert gauge_error(GRADE_B, 100.0, 100.0 * (1 + 1e-10)).error_mpa == pytest.approx(3)


@pytest.mark.parametrize(("range_mpa", "reading"), [(100, 100.1), (100, 0), (0, 10), (100, -1)])
def test_what_is_off_the_scale_has_no_error(range_mpa: float, reading: float) -> None:
    with pytest.raises(OffTheChart, match="cannot be read"):
        gauge_error(GRADE_B, range_mpa, reading)


@given(
    st.floats(min_value=1, max_value=70),
    st.floats(min_value=0.05, max_value=5),
    st.floats(min_value=0, max_value=20),
)
def test_a_rounded_pressure_is_a_graduation_near_by_and_never_too_high(
    asked: float, step: float, above: float
) -> None:
    highest = asked + above
    shown = round_to_gauge(asked, step, highest)
    assert shown <= highest * (1 + 1e-8)
    assert abs(shown - asked) <= step * (1 + 1e-6)
    assert shown / step == pytest.approx(round(shown / step))


def test_a_rating_on_a_graduation_is_itself_shown() -> None:
    assert round_to_gauge(0.69, 0.1, 0.7) == pytest.approx(0.7)
    assert round_to_gauge(0.7, 0.1, 0.7) == pytest.approx(0.7)
