"""The XML of a digital certificate: a hardened reader, and quantities of the digital SI (D-SI).

A certificate comes from outside, so it is hostile until it has been read: no document type, entity or
inclusion, nothing fetched, and an end to size, depth and number of elements. Quantities are
``si:real`` and ``si:realListXMLList``, with the expanded uncertainty of D-SI 2.2 (``expandedMU``) or of the
version before (``expandedUnc``); what stands where was read off published examples.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from fleet.measures.quantities import Kind as Measured
from fleet.refusals import Unreadable
from fleet.rules.certificate_points import MOST_BYTES, MOST_POINTS

ASK = "ask the laboratory for it, or write the points into a CSV file."

MOST_DEPTH = 64
MOST_ELEMENTS = 50_000

_SI = "{https://ptb.de/si}"
_INCLUDED = "{http://www.w3.org/2001/XInclude}"

# D-SI units of pressures and torques: what they are called here, and their worth in MPa or N·m.
_UNITS: Mapping[str, tuple[Measured, str, float]] = MappingProxyType(
    {
        r"\pascal": (Measured.PRESSURE, "Pa", 1e-6),
        r"\hecto\pascal": (Measured.PRESSURE, "hPa", 1e-4),
        r"\kilo\pascal": (Measured.PRESSURE, "kPa", 1e-3),
        r"\mega\pascal": (Measured.PRESSURE, "MPa", 1.0),
        r"\bar": (Measured.PRESSURE, "bar", 0.1),
        r"\newton\metre": (Measured.TORQUE, "N·m", 1.0),
        r"\kilo\newton\metre": (Measured.TORQUE, "kN·m", 1e3),
    }
)
_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,30}(?:\.[0-9]{0,30})?|\.[0-9]{1,30})(?:[eE][+-]?[0-9]{1,3})?")


class _Capped(TreeBuilder):
    """Builds the tree for as long as it stays small."""

    def __init__(self) -> None:
        super().__init__()
        self.depth = self.elements = 0

    def start(self, tag: str, attrs: dict[Any, Any], /) -> Element:
        self.depth += 1
        self.elements += 1
        if self.depth > MOST_DEPTH or self.elements > MOST_ELEMENTS:
            raise Unreadable("The XML file is nested too deeply or has too many elements; it is not read.")
        if tag.startswith(_INCLUDED):
            raise Unreadable("The XML file includes other files; ask the laboratory for one whole file.")
        return super().start(tag, attrs)

    def end(self, tag: str, /) -> Element:
        self.depth -= 1
        return super().end(tag)


def read_tree(content: bytes) -> Element:
    """The root of an XML file; raises ``Unreadable`` for whatever is hostile, too large or no XML."""
    if not content.strip():
        raise Unreadable("The file is empty.")
    if len(content) > MOST_BYTES:
        raise Unreadable(f"The file has {len(content):,} bytes; at most {MOST_BYTES:,} are read.")
    parser = DefusedXMLParser(target=_Capped(), forbid_dtd=True)
    try:
        parser.feed(content)
        root: Element = parser.close()
    except DefusedXmlException:
        raise Unreadable(
            "The XML file has a document type or entities of its own, which no calibration certificate "
            "needs; it is not read."
        ) from None
    except (ParseError, ValueError, LookupError) as error:
        raise Unreadable(f"The file cannot be read as XML ({error}): {ASK}") from None
    return root


@dataclass(frozen=True, slots=True)
class Series:
    """One quantity at all points of a table, in MPa or N·m."""

    measures: Measured
    types: tuple[str, ...]
    values: tuple[float, ...]
    written: tuple[str, ...]
    expanded: tuple[float, ...] | None
    coverage_factor: float | None


def quantity_of(quantity: Element) -> Series | None:
    """The pressures or torques of a quantity; nothing when it measures something else."""
    types = tuple(quantity.get("refType", "").split())
    for holder in (quantity, *quantity.findall(f"{_SI}hybrid")):
        for many, listed in ((f"{_SI}realListXMLList", "XMLList"), (f"{_SI}real", "")):
            for real in holder.findall(many):
                units = (real.findtext(f"{_SI}unit{listed}") or "").split()
                known = _UNITS.get(units[0]) if units else None
                if known is None:
                    continue
                if set(units) != {units[0]}:
                    raise Unreadable(f"The certificate mixes units in one quantity: {ASK}")
                return _of(real, listed, known, types)
    return None


def _of(real: Element, listed: str, unit: tuple[Measured, str, float], types: tuple[str, ...]) -> Series:
    measures, label, worth = unit
    texts = (real.findtext(f"{_SI}value{listed}") or "").split()
    values = tuple(worth * _number(text) for text in texts)
    if not values or len(values) > MOST_POINTS:
        raise Unreadable(f"The certificate has a quantity of {len(values)} values: {ASK}")
    new = f"measurementUncertaintyUnivariate{listed}/{_SI}expandedMU{listed}"
    expanded = _uncertainty(real, f"{_SI}{new}", f"{_SI}valueExpandedMU{listed}", listed, len(values))
    if expanded is None:
        expanded = _uncertainty(
            real, f"{_SI}expandedUnc{listed}", f"{_SI}uncertainty{listed}", listed, len(values)
        )
    if expanded is None and real.find(f"{_SI}measurementUncertaintyUnivariate{listed}") is not None:
        raise Unreadable(f"The certificate states its uncertainty, but not expanded: {ASK}")
    return Series(
        measures,
        types,
        values,
        tuple(f"{text} {label}" for text in texts),
        tuple(worth * one for one in expanded[0]) if expanded else None,
        expanded[1] if expanded else None,
    )


def _uncertainty(
    real: Element, path: str, value: str, listed: str, count: int
) -> tuple[tuple[float, ...], float] | None:
    stated = real.find(path)
    if stated is None:
        return None
    figures = [_number(text) for text in (stated.findtext(value) or "").split()]
    factors = {_number(text) for text in (stated.findtext(f"{_SI}coverageFactor{listed}") or "").split()}
    if len(figures) == 1:
        figures *= count
    if len(figures) != count or len(factors) != 1 or min(figures) < 0:
        raise Unreadable(
            f"The certificate must state an expanded uncertainty per point, with one coverage factor: {ASK}"
        )
    return tuple(figures), factors.pop()


def _number(text: str) -> float:
    value = float(text) if _NUMBER.fullmatch(text) else math.nan
    if not math.isfinite(value):
        raise Unreadable(f"{text[:40]!r} in the certificate is not a number: {ASK}")
    return value
