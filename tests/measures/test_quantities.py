"""Measures as people write them, against NIST SP 811 and scipy.constants, and what must not be guessed."""

import subprocess
import sys
from collections import Counter
from decimal import Decimal

import pytest
import scipy.constants
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fleet.measures.quantities import (
    BASE_UNIT,
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
from fleet.measures.units import UNITS, spelling
from fleet.refusals import Unreadable

# Most of what a kind may be, in base units, with room left for rounding up.
REACH = {
    Kind.PRESSURE: 900.0,
    Kind.TORQUE: 190_000.0,
    Kind.FORCE: 19_000_000.0,
    Kind.LENGTH: 190_000.0,
    Kind.MASS: 19_000.0,
    Kind.DURATION: 11_000_000.0,
}

units = st.sampled_from([(unit.kind, unit.label) for unit in UNITS])
LETTERS = st.characters(categories=["L", "N", "P", "S", "Zs"])


def refused(text: str, kind: Kind = Kind.PRESSURE, unit: str | None = None) -> str:
    with pytest.raises(Unreadable) as caught:
        read_measure(text, kind, unit=unit)
    sentence = str(caught.value)
    assert sentence.endswith((".", "?"))
    return sentence


def read_or_refused(text: str, kind: Kind, unit: str | None = None) -> Measure | str:
    try:
        return read_measure(text, kind, unit=unit)
    except Unreadable as no:
        return str(no)


# --- What a unit is worth -----------------------------------------------------------------------------------


# NIST SP 811 (2008), appendix B.8, as printed to seven figures there (from memory), scaled to our base units.
@pytest.mark.parametrize(
    ("text", "kind", "base"),
    [
        ("1 psi", Kind.PRESSURE, 6.894757e-3),
        ("1 ksi", Kind.PRESSURE, 6.894757),
        ("1 bar", Kind.PRESSURE, 1.0e-1),
        ("1 kPa", Kind.PRESSURE, 1.0e-3),
        ("1 kgf/cm²", Kind.PRESSURE, 9.80665e-2),
        ("1 lbf·ft", Kind.TORQUE, 1.355818),
        ("1 lbf·in", Kind.TORQUE, 1.129848e-1),
        ("1 kgf·m", Kind.TORQUE, 9.80665),
        ("1 kN·m", Kind.TORQUE, 1.0e3),
        ("1 lbf", Kind.FORCE, 4.448222),
        ("1 kgf", Kind.FORCE, 9.80665),
        ("1 kN", Kind.FORCE, 1.0e3),
        ("1 in", Kind.LENGTH, 2.54e1),
        ("1 ft", Kind.LENGTH, 3.048e2),
        ("1 m", Kind.LENGTH, 1.0e3),
        ("1 cm", Kind.LENGTH, 1.0e1),
        ("1 lb", Kind.MASS, 4.535924e-1),
        ("1 g", Kind.MASS, 1.0e-3),
        ("1 h", Kind.DURATION, 6.0e1),
        ("1 s", Kind.DURATION, 1.666667e-2),
    ],
)
def test_a_unit_is_worth_what_the_handbook_prints(text: str, kind: Kind, base: float) -> None:
    assert read_measure(text, kind).base == pytest.approx(base, rel=5e-7)


@pytest.mark.parametrize(
    ("kind", "unit", "si"),
    [
        (Kind.PRESSURE, "psi", scipy.constants.psi / scipy.constants.mega),
        (Kind.PRESSURE, "bar", scipy.constants.bar / scipy.constants.mega),
        (Kind.TORQUE, "lbf·ft", scipy.constants.lbf * scipy.constants.foot),
        (Kind.TORQUE, "lbf·in", scipy.constants.lbf * scipy.constants.inch),
        (Kind.TORQUE, "kgf·m", scipy.constants.kgf),
        (Kind.FORCE, "lbf", scipy.constants.lbf),
        (Kind.FORCE, "kgf", scipy.constants.kgf),
        (Kind.LENGTH, "in", scipy.constants.inch / scipy.constants.milli),
        (Kind.MASS, "lb", scipy.constants.pound),
        (Kind.DURATION, "h", scipy.constants.hour / scipy.constants.minute),
    ],
)
def test_factors_agree_with_scipy_to_the_last_figure(kind: Kind, unit: str, si: float) -> None:
    assert to_base(1.0, kind, unit) == pytest.approx(si, rel=1e-15)


def test_seven_hundred_bar_and_ten_thousand_psi_are_not_the_same_pressure() -> None:
    # By NIST SP 811: 700 bar = 10 152.64 psi, and 10 000 psi = 689.4757 bar.
    assert convert(read_measure("700 bar", Kind.PRESSURE).base, Kind.PRESSURE, "psi") == pytest.approx(
        10_152.64
    )
    assert convert(read_measure("10,000 psi", Kind.PRESSURE).base, Kind.PRESSURE, "bar") == pytest.approx(
        689.4757
    )


@given(units, st.floats(min_value=0, max_value=1e9))
def test_there_and_back_is_the_same_value(unit: tuple[Kind, str], value: float) -> None:
    assert convert(to_base(value, *unit), *unit) == pytest.approx(value, rel=1e-15, abs=1e-300)


@given(
    st.decimals(min_value=0, max_value=900, places=3).map(abs),
    st.sampled_from(
        [
            (Kind.PRESSURE, "MPa", "bar", 10),
            (Kind.PRESSURE, "ksi", "psi", 1000),
            (Kind.TORQUE, "lbf·ft", "lbf·in", 12),
            (Kind.FORCE, "kN", "N", 1000),
            (Kind.LENGTH, "in", "mm", Decimal("25.4")),
            (Kind.DURATION, "h", "min", 60),
        ]
    ),
)
def test_one_quantity_in_two_units_is_one_number(
    figure: Decimal, pair: tuple[Kind, str, str, Decimal | int]
) -> None:
    kind, large, small, ratio = pair
    assert to_base(float(figure), kind, large) == to_base(float(figure * ratio), kind, small)


def test_every_kind_has_a_base_unit_worth_one() -> None:
    assert all(to_base(1.0, kind, BASE_UNIT[kind]) == 1.0 for kind in Kind)


def test_no_two_units_share_a_spelling() -> None:
    counted = Counter(
        (spelt, unit.label)
        for unit in UNITS
        for spelt in {spelling(text) for text in f"{unit.label}, {unit.also}".split(", ")}
    )
    spellings = Counter(spelt for spelt, _ in counted)
    assert [spelt for spelt, times in spellings.items() if times > 1 and spelt] == []


def test_conversion_takes_any_spelling_and_no_other_kind() -> None:
    assert convert(1.0, Kind.TORQUE, "Nm") == 1.0
    with pytest.raises(Unreadable, match="a torque was expected"):
        convert(1.0, Kind.TORQUE, "psi")
    with pytest.raises(Unreadable, match="not a known unit"):
        to_base(1.0, Kind.TORQUE, "furlong")


def test_importing_the_floor_does_not_load_the_unit_library() -> None:
    program = "import sys, fleet.measures.quantities; sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0


# --- What is read -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "kind", "value", "unit"),
    [
        ("3,400 psi", Kind.PRESSURE, 3400, "psi"),
        ("3400 PSI", Kind.PRESSURE, 3400, "psi"),
        ("3400psig", Kind.PRESSURE, 3400, "psi"),
        ("3,400.5 Psi", Kind.PRESSURE, 3400.5, "psi"),
        ("  700\N{NO-BREAK SPACE}bar ", Kind.PRESSURE, 700, "bar"),
        ("700 barg", Kind.PRESSURE, 700, "bar"),
        ("105 ksi", Kind.PRESSURE, 105, "ksi"),
        ("70 MPa", Kind.PRESSURE, 70, "MPa"),
        ("70 MPA", Kind.PRESSURE, 70, "MPa"),
        ("70000 kPa", Kind.PRESSURE, 70000, "kPa"),
        ("714 kg/cm2", Kind.PRESSURE, 714, "kgf/cm²"),
        ("2.5 kN·m", Kind.TORQUE, 2.5, "kN·m"),
        ("2.5 kNm", Kind.TORQUE, 2.5, "kN·m"),
        ("1400 N*m", Kind.TORQUE, 1400, "N·m"),
        ("1400 N.m", Kind.TORQUE, 1400, "N·m"),
        ("1400 N-m", Kind.TORQUE, 1400, "N·m"),
        ("1400 N m", Kind.TORQUE, 1400, "N·m"),
        ("1400 Nm", Kind.TORQUE, 1400, "N·m"),
        ("1400 lbf·ft", Kind.TORQUE, 1400, "lbf·ft"),
        ("1400 ft-lb", Kind.TORQUE, 1400, "lbf·ft"),
        ("1400 ft·lbf", Kind.TORQUE, 1400, "lbf·ft"),
        ("1400 ft lbs", Kind.TORQUE, 1400, "lbf·ft"),
        ("1400 Ft. Lbs.", Kind.TORQUE, 1400, "lbf·ft"),
        ("1400 lb-ft", Kind.TORQUE, 1400, "lbf·ft"),
        ("1400 lbf-ft", Kind.TORQUE, 1400, "lbf·ft"),
        ("96 in-lb", Kind.TORQUE, 96, "lbf·in"),
        ("142 kgf·m", Kind.TORQUE, 142, "kgf·m"),
        ("142 kg·m", Kind.TORQUE, 142, "kgf·m"),
        ("142 mkp", Kind.TORQUE, 142, "kgf·m"),
        ("350 kN", Kind.FORCE, 350, "kN"),
        ("78,320 lbf", Kind.FORCE, 78320, "lbf"),
        ("36 mm", Kind.LENGTH, 36, "mm"),
        ("6.5 m", Kind.LENGTH, 6.5, "m"),
        ("20 ft", Kind.LENGTH, 20, "ft"),
        ("1.125 in", Kind.LENGTH, 1.125, "in"),
        ("1 1/2 in", Kind.LENGTH, 1.5, "in"),
        ("1-1/2 in", Kind.LENGTH, 1.5, "in"),
        ('1 1/2"', Kind.LENGTH, 1.5, "in"),
        ("1 1/2″", Kind.LENGTH, 1.5, "in"),
        ("3/4 in.", Kind.LENGTH, 0.75, "in"),
        ("2 63/64 in", Kind.LENGTH, 2.984375, "in"),
        ("12.5 kg", Kind.MASS, 12.5, "kg"),
        ("28 lbs", Kind.MASS, 28, "lb"),
        ("1.5 h", Kind.DURATION, 1.5, "h"),
        ("90 min", Kind.DURATION, 90, "min"),
        ("2 hours", Kind.DURATION, 2, "h"),
        ("0 bar", Kind.PRESSURE, 0, "bar"),
    ],
)
def test_the_ways_people_write_measures_are_read(text: str, kind: Kind, value: float, unit: str) -> None:
    read = read_measure(text, kind)
    assert (read.value, read.unit, read.kind) == (value, unit, kind)
    assert read.base == to_base(value, kind, unit)
    assert read.written == " ".join(text.split())


def test_a_bare_number_is_read_under_its_heading_and_never_without() -> None:
    assert read_measure("3,400", Kind.PRESSURE, unit="PSI") == read_measure("3,400 psi", Kind.PRESSURE)
    assert read_measure("1 1/2", Kind.LENGTH, unit="inches").base == pytest.approx(38.1)
    assert "no unit" in refused("3,400")
    assert "a mass" in refused("3,400", unit="kg")


def test_a_unit_in_the_cell_counts_before_the_heading() -> None:
    assert read_measure("700 bar", Kind.PRESSURE, unit="psi").unit == "bar"


@given(
    st.decimals(min_value=0, max_value=Decimal("99999.99"), places=2).map(abs),
    st.booleans(),
    st.sampled_from(["", " ", "\N{NO-BREAK SPACE}", "\N{NARROW NO-BREAK SPACE}"]),
)
def test_every_plain_figure_reads_as_python_reads_it(figure: Decimal, commas: bool, gap: str) -> None:
    text = f"{figure:,f}" if commas else f"{figure:f}"
    assert read_measure(f"{text}{gap}psi", Kind.PRESSURE).value == float(figure)


# --- What is refused, and what to write instead -------------------------------------------------------------


@pytest.mark.parametrize(
    "gap", [" ", "\N{NO-BREAK SPACE}", "\N{NARROW NO-BREAK SPACE}", "\N{THIN SPACE}", "'"]
)
@pytest.mark.parametrize("figure", [3400, 10_000, 1_234_567])
def test_a_gap_between_thousands_is_never_guessed(gap: str, figure: int) -> None:
    # A well-known units parser reads "3 400 psi" as 1200 psi, the product: seen while choosing it.
    text = f"{figure:,}".replace(",", gap)
    assert f"write {figure:,} N or {figure} N." in refused(f"{text} N", Kind.FORCE)


@pytest.mark.parametrize(
    ("text", "kind", "instead"),
    [
        ("3.400,5 psi", Kind.PRESSURE, "write 3,400.5 psi."),
        ("3,4 bar", Kind.PRESSURE, "write 3.4 bar."),
        ("0,500 bar", Kind.PRESSURE, "write 0.500 bar."),
        ("1,5 in", Kind.LENGTH, "write 1.5 in."),
        ("1.000.000 N", Kind.FORCE, "write 1,000,000 N."),
        ("3.400 psi", Kind.PRESSURE, "write 3.4 psi or 3,400 psi."),
        ("10.000 psi", Kind.PRESSURE, "write 10 psi or 10,000 psi."),
        ("2,500 kN·m", Kind.TORQUE, "was 2.5 kN·m meant?"),
        ("2500 kN·m", Kind.TORQUE, "at most 200 kN·m"),
        ("250,000.5 N·m", Kind.TORQUE, "check the number and the unit."),
        ("12,500 MPa", Kind.PRESSURE, "was 12.5 MPa meant?"),
        ("5–10 psi", Kind.PRESSURE, "choose one value and write 5 psi or 10 psi."),
        ("5-10 psi", Kind.PRESSURE, "choose one value and write 5 psi or 10 psi."),
        ("5 - 10 psi", Kind.PRESSURE, "choose one value and write 5 psi or 10 psi."),
        ("5 to 10 psi", Kind.PRESSURE, "write one value"),
        ("5 ± 1 psi", Kind.PRESSURE, "one plain number"),
        ("≥5 psi", Kind.PRESSURE, "write only 5 psi."),
        ("~5 psi", Kind.PRESSURE, "write only 5 psi."),
        ("+5 psi", Kind.PRESSURE, "write only 5 psi."),
        ("~5", Kind.PRESSURE, "no unit"),
        ("1½ in", Kind.LENGTH, "write 1 1/2 in."),
        ("1 ½ in", Kind.LENGTH, "write 1 1/2 in."),
        ("¾ in", Kind.LENGTH, "write 3/4 in."),
        ("⅓ in", Kind.LENGTH, "write 0.3333 in."),
        ("5² in", Kind.LENGTH, "one plain number"),
        ("1½ h", Kind.DURATION, "write 1.5 h."),
        ("1/2 h", Kind.DURATION, "write 0.5 h."),
        ("11/2 in", Kind.LENGTH, "write it like 3/4 in or 1 1/2 in"),
        ("8/8 in", Kind.LENGTH, "write it like 3/4 in or 1 1/2 in"),
        ("1 1/3 in", Kind.LENGTH, "write it like 3/4 in or 1 1/2 in"),
        (".5 in", Kind.LENGTH, "write 0.5 in."),
        ("5. in", Kind.LENGTH, "write 5 in."),
        ("007 bar", Kind.PRESSURE, "write 7 bar."),
        ("00.5 bar", Kind.PRESSURE, "write 0.5 bar."),
        ("-5 psi", Kind.PRESSURE, "write 5 psi."),
        ("−5 psi", Kind.PRESSURE, "write 5 psi."),
        ("nan psi", Kind.PRESSURE, "did you mean psi?"),
        ("inf bar", Kind.PRESSURE, "inf bar"),
        ("1e9 psi", Kind.PRESSURE, "write the number out"),
        ("1E-3 kN·m", Kind.TORQUE, "write the number out"),
        ("1e9", Kind.PRESSURE, "write the number out"),
        ("70 mPa", Kind.PRESSURE, "write MPa"),
        ("10,000 psia", Kind.PRESSURE, "gauge pressure in psi"),
        ("700 bar(a)", Kind.PRESSURE, "gauge pressure in bar"),
        ("12 psi", Kind.TORQUE, "is a pressure; a torque was expected, such as 1,400 N·m."),
        ("12 N·m", Kind.PRESSURE, "is a torque; a pressure was expected"),
        ("500 lb", Kind.FORCE, "write lbf for a force"),
        ("500 kg", Kind.FORCE, "write kgf for a force"),
        ("12 pis", Kind.PRESSURE, "did you mean psi?"),
        ("12 barr", Kind.PRESSURE, "did you mean bar?"),
        ("12 furlong", Kind.LENGTH, "one of mm, cm, m, in, ft."),
        ("5 m m", Kind.LENGTH, "not a known unit"),
        ("5 ton", Kind.FORCE, "not a known unit"),
        ("3 ft 6 in", Kind.LENGTH, "more than one number"),
        ("700 bar / 10,000 psi", Kind.PRESSURE, "more than one number"),
        ("bar", Kind.PRESSURE, "write it like 700 bar"),
        ("", Kind.PRESSURE, "write it like 700 bar"),
        ("١٢ bar", Kind.PRESSURE, "write it like 700 bar"),
        ("9" * 400 + " psi", Kind.PRESSURE, "write it like 700 bar"),
    ],
)
def test_what_could_be_misread_is_refused_with_what_to_write(text: str, kind: Kind, instead: str) -> None:
    assert instead in refused(text, kind)


@pytest.mark.parametrize("text", ["2.500 kN·m", "0.500 N·m", "142.368 kgf·m", "5.125 N·m", "68.950 MPa"])
def test_decimals_that_can_be_nothing_else_are_read(text: str) -> None:
    kind = Kind.PRESSURE if "Pa" in text else Kind.TORQUE
    number, _, _ = text.partition(" ")
    assert read_measure(text, kind).value == float(number)


@given(st.text(LETTERS, max_size=20), st.sampled_from(Kind), st.sampled_from([None, "psi", "in"]))
def test_any_text_is_either_a_measure_or_a_sentence(text: str, kind: Kind, unit: str | None) -> None:
    read = read_or_refused(text, kind, unit)
    if isinstance(read, str):
        assert read[-1] in ".?"
    else:
        assert read_measure(read.written, kind) == read


@settings(max_examples=1000)
@given(
    st.text("0123459.,/-– ½⅓²②", min_size=1, max_size=9),
    st.sampled_from([("bar", Kind.PRESSURE), ("in", Kind.LENGTH), ("N·m", Kind.TORQUE)]),
)
def test_the_suggested_text_can_itself_be_read(number: str, unit: tuple[str, Kind]) -> None:
    label, kind = unit
    refusal = read_or_refused(f"{number} {label}", kind)
    if isinstance(refusal, str) and " write " in refusal and " like " not in refusal:
        for instead in refusal.partition(" write ")[2].removesuffix(".").split(" or "):
            again = read_or_refused(instead, kind)
            # Its size is only judged once it can be read.
            assert isinstance(again, Measure) or "reads both ways" in again or "is more than" in again


@pytest.mark.parametrize(
    ("most", "kind", "beyond"),
    [
        ("1,000 MPa", Kind.PRESSURE, "1,000.1 MPa"),
        ("200 kN·m", Kind.TORQUE, "200,001 N·m"),
        ("20,000 kN", Kind.FORCE, "20,000.1 kN"),
        ("200 m", Kind.LENGTH, "200.1 m"),
        ("20,000 kg", Kind.MASS, "20,000.1 kg"),
        ("200,000 h", Kind.DURATION, "200,000.1 h"),
    ],
)
def test_a_measure_far_above_the_trade_is_a_slip(most: str, kind: Kind, beyond: str) -> None:
    assert read_measure(most, kind).written == most
    assert f"at most {most}" in refused(beyond, kind)


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
