"""Pressure marks on plates, and measures shown on the safe side."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fleet.measures.quantities import (
    DUAL_MARK_RULE,
    Kind,
    Measure,
    Rating,
    Rounding,
    convert,
    read_measure,
    read_rating,
    show,
    to_base,
)
from fleet.measures.units import UNITS
from fleet.refusals import Unreadable

# Most of what a kind may be, in base units, with room left for rounding up.
REACH = {
    Kind.PRESSURE: 900.0,
    Kind.TORQUE: 190_000.0,
    Kind.FORCE: 19_000_000.0,
    Kind.LENGTH: 190_000.0,
    Kind.MASS: 19_000.0,
    Kind.DURATION: 11_000_000.0,
    Kind.VOLUME: 19_000.0,
    Kind.FLOW: 190.0,
}

units = st.sampled_from([(unit.kind, unit.label) for unit in UNITS])


# --- Pressure marks -----------------------------------------------------------------------------------------


def test_a_single_mark_is_one_rating() -> None:
    mark = Measure(written="700 bar", kind=Kind.PRESSURE, value=700.0, unit="bar", base=70.0)
    assert read_rating("700 bar") == Rating(written="700 bar", mpa=70.0, marks=(mark,), dual=False)
    assert read_rating("10,000", unit="psi").written == "10,000 psi"
    assert read_rating("5 bar").mpa == 0.5


@pytest.mark.parametrize(
    "plate",
    [
        "700 bar / 10 000 psi",
        "700 bar / 10,000 psi",
        "700bar/10000psi",
        "10 000 psi / 700 bar",
        "10,000 psi (700 bar)",
        "700 bar(g) / 10 000 psi",
        "70 MPa / 700 bar / 10\N{NARROW NO-BREAK SPACE}000 psi",
    ],
)
def test_a_dual_mark_is_one_class_at_the_higher_mark(plate: str) -> None:
    rating = read_rating(plate)
    assert rating.dual
    assert rating.mpa == 70.0
    assert {(mark.value, mark.unit) for mark in rating.marks} >= {(700.0, "bar"), (10_000.0, "psi")}
    assert "higher mark" in DUAL_MARK_RULE


def test_each_mark_is_kept_as_the_maker_printed_it() -> None:
    assert [mark.written for mark in read_rating("700 bar / 10 000 psi").marks] == ["700 bar", "10 000 psi"]


@pytest.mark.parametrize(
    ("plate", "why"),
    [
        ("700 bar / 8,000 psi", "differ by 26.9%"),
        ("700 bar / 10 500 psi", "differ by 3.4%"),
        ("700 bar / 1 000 psi", "not one pressure class"),
        ("10 000 psi", "write 10,000 psi"),
        ("10 000 psi / 70 000 kPa", "write 10,000 psi"),
        ("700 bar / 690 bar", "two pressures in one unit"),
        ("700 / 10,000 psi", "no unit"),
        ("700 bar / 1400 N·m", "a pressure was expected"),
        ("0 bar", "above zero"),
        ("0 bar / 0 psi", "above zero"),
        ("700 bar /", "not a known unit"),
        ("", "write it like 700 bar"),
        ("7" * 200, "too long"),
    ],
)
def test_marks_that_disagree_or_cannot_be_read_are_refused(plate: str, why: str) -> None:
    with pytest.raises(Unreadable, match=why):
        read_rating(plate)


@given(st.integers(min_value=100, max_value=2000), st.integers(min_value=1000, max_value=30_000))
def test_two_marks_are_one_class_exactly_within_two_per_cent(bar: int, psi: int) -> None:
    # NIST SP 811 (from memory): 1 bar is 14.503 773 8 psi.
    low, high = sorted([bar * 14.5037738, float(psi)])
    assume(abs(high / low - 1.02) > 1e-6)
    plate = f"{bar} bar / {psi} psi"
    if high / low < 1.02:
        assert read_rating(plate).mpa == pytest.approx(high / 145.037738)
    else:
        with pytest.raises(Unreadable):
            read_rating(plate)


# --- What is shown ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "kind", "unit", "rounding", "shown"),
    [
        ("700 bar", Kind.PRESSURE, "psi", Rounding.DOWN, "10,152 psi"),
        ("700 bar", Kind.PRESSURE, "psi", Rounding.UP, "10,153 psi"),
        ("10,000 psi", Kind.PRESSURE, "bar", Rounding.DOWN, "689.4 bar"),
        ("10,000 psi", Kind.PRESSURE, "bar", Rounding.UP, "689.5 bar"),
        ("10,000 psi", Kind.PRESSURE, "psi", Rounding.DOWN, "10,000 psi"),
        ("700 bar", Kind.PRESSURE, "bar", Rounding.DOWN, "700 bar"),
        ("0.3 MPa", Kind.PRESSURE, "bar", Rounding.DOWN, "3 bar"),
        ("0 bar", Kind.PRESSURE, "psi", Rounding.UP, "0 psi"),
        ("1400 lbf·ft", Kind.TORQUE, "N·m", Rounding.NEAREST, "1,898 N·m"),
        ("2655 N·m", Kind.TORQUE, "kN·m", Rounding.UP, "2.655 kN·m"),
        ("38.1 mm", Kind.LENGTH, "in", Rounding.DOWN, "1 1/2 in"),
        ("1.5 in", Kind.LENGTH, "inches", Rounding.UP, "1 1/2 in"),
        ("0.75 in", Kind.LENGTH, "in", Rounding.NEAREST, "3/4 in"),
        ("2 in", Kind.LENGTH, "in", Rounding.NEAREST, "2 in"),
        ("36 mm", Kind.LENGTH, "in", Rounding.NEAREST, "1.417 in"),
        ("36 mm", Kind.LENGTH, "mm", Rounding.NEAREST, "36 mm"),
        ("90 min", Kind.DURATION, "h", Rounding.NEAREST, "1.5 h"),
    ],
)
def test_a_measure_is_shown_to_about_four_figures(
    text: str, kind: Kind, unit: str, rounding: Rounding, shown: str
) -> None:
    assert show(read_measure(text, kind).base, kind, unit, rounding=rounding) == shown


@given(units, st.floats(min_value=0, max_value=1))
def test_a_rating_shown_and_read_back_is_never_more(unit: tuple[Kind, str], share: float) -> None:
    kind, label = unit
    base = share * REACH[kind]
    assert read_measure(show(base, kind, label, rounding=Rounding.DOWN), kind).base <= base


@given(units, st.floats(min_value=0, max_value=1))
def test_a_demand_shown_and_read_back_is_never_less(unit: tuple[Kind, str], share: float) -> None:
    kind, label = unit
    base = share * REACH[kind]
    assert read_measure(show(base, kind, label, rounding=Rounding.UP), kind).base >= base


@given(units, st.floats(min_value=1e-4, max_value=1), st.sampled_from(Rounding))
def test_what_is_shown_is_off_by_less_than_one_in_a_thousand(
    unit: tuple[Kind, str], share: float, rounding: Rounding
) -> None:
    kind, label = unit
    base = share * REACH[kind]
    assume(convert(base, kind, label) >= 1e-3)
    assert read_measure(show(base, kind, label, rounding=rounding), kind).base == pytest.approx(
        base, rel=1.001e-3
    )


@given(st.integers(min_value=1, max_value=200 * 16))
def test_sixteenths_of_an_inch_are_shown_as_the_fraction_they_are(sixteenths: int) -> None:
    base = sixteenths * 25.4 / 16
    shown = show(to_base(sixteenths / 16, Kind.LENGTH, "in"), Kind.LENGTH, "in", rounding=Rounding.DOWN)
    assert "." not in shown
    assert read_measure(shown, Kind.LENGTH).base == pytest.approx(base, rel=1e-15)
