"""The closed list of units: which there are, what each is called, and what each is worth.

Nothing outside this list is read. Factors come from one Pint registry that knows only the lines below; it is
made at the first conversion, because importing Pint costs more than a whole help text.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import cache
from types import MappingProxyType


class Kind(StrEnum):
    """What a measure is a measure of."""

    PRESSURE = "pressure"
    TORQUE = "torque"
    FORCE = "force"
    LENGTH = "length"
    MASS = "mass"
    DURATION = "duration"
    VOLUME = "volume"
    FLOW = "flow"


BASE_UNIT: Mapping[Kind, str] = MappingProxyType(
    {
        Kind.PRESSURE: "MPa",
        Kind.TORQUE: "N·m",
        Kind.FORCE: "N",
        Kind.LENGTH: "mm",
        Kind.MASS: "kg",
        Kind.DURATION: "min",
        Kind.VOLUME: "cm³",
        Kind.FLOW: "L/min",
    }
)


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: our label, its kind, the Pint expression of its worth, and what else people write for it."""

    label: str
    kind: Kind
    expression: str
    also: str = ""


# Exact values: NIST SP 811 (2008), appendix B (the US gallon is 231 cubic inches); SI prefixes and derived
# units: BIPM, SI Brochure, 9th edition.
_DEFINITIONS = (
    "metre = [length]",
    "kilogram = [mass]",
    "second = [time]",
    "newton = kilogram * metre / second ** 2",
    "kilonewton = 1000 * newton",
    "pascal = newton / metre ** 2",
    "kilopascal = 1000 * pascal",
    "megapascal = 1000000 * pascal",
    "bar = 100000 * pascal",
    "millimetre = metre / 1000",
    "centimetre = metre / 100",
    "gram = kilogram / 1000",
    "inch = 0.0254 * metre",
    "foot = 12 * inch",
    "pound = 0.45359237 * kilogram",
    "pound_force = 4.4482216152605 * newton",
    "kilogram_force = 9.80665 * newton",
    "psi = pound_force / inch ** 2",
    "ksi = 1000 * psi",
    "minute = 60 * second",
    "hour = 60 * minute",
    "litre = metre ** 3 / 1000",
    "millilitre = litre / 1000",
    "us_gallon = 231 * inch ** 3",
)

# Spellings are compared without case, and any dash, dot, star or space between two parts counts as "·".
# On old charts "kg·m" and "kpm" mean kilogram-force metre, and "lb" in a torque means pound-force
# (common practice, no source).
UNITS: tuple[Unit, ...] = (
    Unit("MPa", Kind.PRESSURE, "megapascal", "N/mm², N/mm2, megapascal"),
    Unit("kPa", Kind.PRESSURE, "kilopascal", "kilopascal"),
    Unit("bar", Kind.PRESSURE, "bar", "bars, barg, bar g, bar(g), bar (g)"),
    Unit(
        "psi",
        Kind.PRESSURE,
        "psi",
        "psig, psi g, psi(g), psi (g), lbf/in², lbf/in2, lb/in², lb/in2",
    ),
    Unit("ksi", Kind.PRESSURE, "ksi"),
    Unit(
        "kgf/cm²",
        Kind.PRESSURE,
        "kilogram_force / centimetre ** 2",
        "kgf/cm2, kgf/cm^2, kg/cm², kg/cm2, kp/cm², kp/cm2",
    ),
    Unit(
        "N·m", Kind.TORQUE, "newton * metre", "Nm, newton metre, newton metres, newton meter, newton meters"
    ),
    Unit("kN·m", Kind.TORQUE, "kilonewton * metre", "kNm"),
    Unit(
        "lbf·ft",
        Kind.TORQUE,
        "pound_force * foot",
        "lbfft, lb·ft, lbft, lbs·ft, lbsft, ft·lbf, ftlbf, ft·lb, ftlb, ft·lbs, ftlbs, "
        "foot pound, foot pounds, pound foot, pound feet",
    ),
    Unit(
        "lbf·in",
        Kind.TORQUE,
        "pound_force * inch",
        "lbfin, lb·in, lbin, lbs·in, lbsin, in·lbf, inlbf, in·lb, inlb, in·lbs, inlbs, "
        "inch pound, inch pounds, pound inch, pound inches",
    ),
    Unit(
        "kgf·m",
        Kind.TORQUE,
        "kilogram_force * metre",
        "kgfm, kg·m, kgm, m·kgf, mkgf, m·kg, mkg, kp·m, kpm, m·kp, mkp",
    ),
    Unit("N", Kind.FORCE, "newton", "newton, newtons"),
    Unit("kN", Kind.FORCE, "kilonewton", "kilonewton, kilonewtons"),
    Unit("lbf", Kind.FORCE, "pound_force", "pound force"),
    Unit("kgf", Kind.FORCE, "kilogram_force", "kp"),
    Unit("mm", Kind.LENGTH, "millimetre", "millimetre, millimetres, millimeter, millimeters"),
    Unit("cm", Kind.LENGTH, "centimetre", "centimetre, centimetres, centimeter, centimeters"),
    Unit("m", Kind.LENGTH, "metre", "metre, metres, meter, meters"),
    Unit("in", Kind.LENGTH, "inch", "\", ″, ”, '', inch, inches"),
    Unit("ft", Kind.LENGTH, "foot", "foot, feet"),
    Unit("kg", Kind.MASS, "kilogram", "kgs, kilogram, kilograms"),
    Unit("g", Kind.MASS, "gram", "gram, grams"),
    Unit("lb", Kind.MASS, "pound", "lbs, pound, pounds"),
    Unit("min", Kind.DURATION, "minute", "mins, minute, minutes"),
    Unit("h", Kind.DURATION, "hour", "hr, hrs, hour, hours"),
    Unit("s", Kind.DURATION, "second", "sec, secs, second, seconds"),
    Unit("cm³", Kind.VOLUME, "centimetre ** 3", "cm3, cm^3, cc, ccm, cubic centimetre, cubic centimetres"),
    Unit("mL", Kind.VOLUME, "millilitre", "millilitre, millilitres, milliliter, milliliters"),
    Unit("L", Kind.VOLUME, "litre", "litre, litres, liter, liters"),
    Unit("in³", Kind.VOLUME, "inch ** 3", "in3, in^3, cu in, cubic inch, cubic inches"),
    Unit("L/min", Kind.FLOW, "litre / minute", "lpm, litres per minute, liters per minute"),
    Unit("cm³/min", Kind.FLOW, "centimetre ** 3 / minute", "cm3/min, cm^3/min, cc/min, ml/min"),
    Unit("in³/min", Kind.FLOW, "inch ** 3 / minute", "in3/min, in^3/min, cu in/min, cubic inches per minute"),
    Unit(
        "US gal/min", Kind.FLOW, "us_gallon / minute", "US gpm, US gallon per minute, US gallons per minute"
    ),
)

_BASE_EXPRESSION: Mapping[Kind, str] = {
    unit.kind: unit.expression for unit in UNITS if unit.label == BASE_UNIT[unit.kind]
}

_JOINER = re.compile(r"\s*[\s·•⋅∙×*.\u2010\u2011-]\s*")


def spelling(text: str) -> str:
    """Answer the form in which two spellings of one unit are the same text."""
    return _JOINER.sub("·", text.strip().rstrip(".").strip()).casefold()


_BY_SPELLING: Mapping[str, Unit] = {
    spelling(written): unit for unit in UNITS for written in f"{unit.label}, {unit.also}".split(", ")
}


def find_unit(text: str) -> Unit | None:
    """Answer the unit that this text names, in any of its spellings, or nothing."""
    return _BY_SPELLING.get(spelling(text))


def known_spellings() -> list[str]:
    """Answer every spelling that is read, for suggesting the nearest one."""
    return list(_BY_SPELLING)


@cache
def factors() -> Mapping[tuple[Kind, str], Fraction]:
    """Answer, by kind and label, how many base units one unit is: exactly, as a ratio of whole numbers."""
    import pint  # noqa: PLC0415  Importing it takes a tenth of a second and more.

    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(None, non_int_type=Fraction)
    for line in _DEFINITIONS:
        registry.define(line)
    found = {}
    for unit in UNITS:
        worth = registry.Quantity(Fraction(1), unit.expression).to(_BASE_EXPRESSION[unit.kind])
        found[unit.kind, unit.label] = Fraction(worth.magnitude)
    return MappingProxyType(found)
