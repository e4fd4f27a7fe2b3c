"""Measures as people write them, against NIST SP 811 and scipy.constants."""

import subprocess
import sys
from collections import Counter
from decimal import Decimal

import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st

from fleet.measures.quantities import (
    BASE_UNIT,
    Kind,
    convert,
    read_measure,
    to_base,
)
from fleet.measures.units import UNITS, spelling
from fleet.refusals import Unreadable

units = st.sampled_from([(unit.kind, unit.label) for unit in UNITS])


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
        ("1 in³", Kind.VOLUME, 1.638706e1),
        ("1 L", Kind.VOLUME, 1.0e3),
        ("1 US gal/min", Kind.FLOW, 3.785412),
        ("1 in³/min", Kind.FLOW, 1.638706e-2),
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
        (Kind.VOLUME, "in³", scipy.constants.inch**3 / scipy.constants.centi**3),
        (Kind.FLOW, "US gal/min", scipy.constants.gallon / scipy.constants.liter),
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
        ("714 kgf/cm²", Kind.PRESSURE, 714, "kgf/cm²"),
        ("714 kgf/cm^2", Kind.PRESSURE, 714, "kgf/cm²"),
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
        ("1½ in", Kind.LENGTH, 1.5, "in"),
        ("1 ½ in", Kind.LENGTH, 1.5, "in"),
        ('2⅜"', Kind.LENGTH, 2.375, "in"),
        ("¾ in", Kind.LENGTH, 0.75, "in"),
        ("12.5 kg", Kind.MASS, 12.5, "kg"),
        ("28 lbs", Kind.MASS, 28, "lb"),
        ("1.5 h", Kind.DURATION, 1.5, "h"),
        ("60 cc", Kind.VOLUME, 60, "cm³"),
        ("60 ml", Kind.VOLUME, 60, "mL"),
        ("4 cu in", Kind.VOLUME, 4, "in³"),
        ("0.9 l/min", Kind.FLOW, 0.9, "L/min"),
        ("55 in3/min", Kind.FLOW, 55, "in³/min"),
        ("0.25 US gpm", Kind.FLOW, 0.25, "US gal/min"),
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
    with pytest.raises(Unreadable, match="no unit"):
        read_measure("3,400", Kind.PRESSURE)
    with pytest.raises(Unreadable, match="a mass"):
        read_measure("3,400", Kind.PRESSURE, unit="kg")


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
