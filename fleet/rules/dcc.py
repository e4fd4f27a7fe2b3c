"""A digital calibration certificate (DCC, schema 3), read without guessing.

What stands where was read off published examples; the reference types, and the names by which the stages are
told apart, are written from memory of the published good practice.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NoReturn
from xml.etree.ElementTree import Element

from fleet.bolting.parts import Kind
from fleet.measures.quantities import Kind as Measured
from fleet.refusals import Unreadable
from fleet.rules.certificates import Certificate, Reading
from fleet.rules.dsi import ASK, Series, quantity_of, read_tree
from fleet.rules.evidence import Stage

_DCC = "{https://ptb.de/dcc}"
_DAY = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})(?:Z|[+-][0-9]{2}:[0-9]{2})?")
_FOUND = re.compile(r"as ?found|before ?adjustment", re.IGNORECASE)
_LEFT = re.compile(r"as ?left|after ?adjustment", re.IGNORECASE)
_SERIAL = re.compile(r"serial ?(?:no\.?|number)", re.IGNORECASE)
_MEASURED, _REFERENCE, _ERROR = "basic_measuredValue", "basic_referenceValue", "basic_measurementError"


def looks_like_xml(content: bytes) -> bool:
    """Whether a file is meant as XML, in UTF-8 or UTF-16, with or without a byte order mark."""
    start = content[:64].replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return start.startswith(b"<")


def read_dcc(content: bytes, kind: str) -> Certificate:
    """Read the administrative data, and the points of an item of this kind.

    Raises ``Unreadable`` in one sentence for whatever cannot be read without guessing.
    """
    root = read_tree(content)
    if root.tag != f"{_DCC}digitalCalibrationCertificate":
        raise Unreadable(
            "This XML file is not a digital calibration certificate (its root must be "
            f"digitalCalibrationCertificate of https://ptb.de/dcc): {ASK}"
        )
    version = root.get("schemaVersion", "")
    if not version.startswith("3."):
        raise Unreadable(f"The certificate is of schema {version[:10]!r}, and only schema 3 is read: {ASK}")
    placed = list(_placed(root))
    factors = {one.series.coverage_factor for one in placed if one.series.coverage_factor is not None}
    if len(factors) > 1:
        raise Unreadable(f"The certificate states several coverage factors: {ASK}")
    laboratory = "administrativeData/calibrationLaboratory/"
    return Certificate(
        number=_text(root, "administrativeData/coreData/uniqueIdentifier") or _missing("its own number"),
        laboratory=_text(root, laboratory + "contact/name/content") or _missing("the laboratory's name"),
        accreditation=_text(root, laboratory + "calibrationLaboratoryCode"),
        calibrated_on=_day(root),
        serial=_serial(root),
        coverage_factor=factors.pop() if factors else None,
        readings=_readings(placed, kind),
    )


def _path(steps: str) -> str:
    return "/".join(_DCC + step for step in steps.split("/"))


def _text(at: Element, steps: str) -> str | None:
    return " ".join((at.findtext(_path(steps)) or "").split()) or None


def _missing(what: str) -> NoReturn:
    raise Unreadable(f"The certificate does not say {what}: {ASK}")


# --- Administrative data ------------------------------------------------------------------------------------


def _day(root: Element) -> date:
    core = "administrativeData/coreData/"
    text = _text(root, core + "endPerformanceDate") or _text(root, core + "beginPerformanceDate")
    written = _DAY.fullmatch(text or "")
    try:
        return date.fromisoformat(written[1] if written else "")
    except ValueError:
        _missing("on which day it was calibrated")


def _serial(root: Element) -> str:
    items = root.findall(_path("administrativeData/items/item"))
    if len(items) != 1:
        raise Unreadable(f"The certificate is of {len(items)} items, and must be of one: {ASK}")
    for one in items[0].findall(_path("identifications/identification")):
        names = " ".join(content.text or "" for content in one.findall(_path("name/content")))
        if "basic_serialNumber" in one.get("refType", "").split() or _SERIAL.search(names):
            return _text(one, "value") or _missing("the serial number of the item")
    _missing("the serial number of the item")


# --- Results ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Placed:
    """One quantity of one table."""

    table: int
    stage: Stage | None
    series: Series


def _placed(root: Element) -> Iterator[_Placed]:
    table = 0
    for measurement in root.findall(_path("measurementResults/measurementResult")):
        for result in measurement.findall(_path("results/result")):
            data = result.find(_path("data"))
            for holder in () if data is None else (data, *data.iter(f"{_DCC}list")):
                table += 1
                stage = _stage(holder) or _stage(result) or _stage(measurement)
                for quantity in holder.findall(f"{_DCC}quantity"):
                    if series := quantity_of(quantity):
                        yield _Placed(table, stage, series)


def _stage(element: Element) -> Stage | None:
    names = [content.text or "" for content in element.findall(_path("name/content"))]
    said = " ".join([element.get("refType", ""), *names]).replace("_", " ")
    found, left = bool(_FOUND.search(said)), bool(_LEFT.search(said))
    if found == left:
        return None
    return Stage.AS_FOUND if found else Stage.AS_LEFT


def _readings(placed: Sequence[_Placed], kind: str) -> tuple[Reading, ...]:
    readings: list[Reading] = []
    for table in sorted({one.table for one in placed}):
        of_table = [one for one in placed if one.table == table]
        pair = _pair([one.series for one in of_table], kind)
        if pair is None:
            continue
        stage = of_table[0].stage
        if stage is None:
            raise Unreadable(
                f"The certificate does not say which points are as found and which are as left: {ASK}"
            )
        readings.extend(_points(stage, *pair))
    if not readings:
        needed = "pressures and torques" if kind == Kind.WRENCH else "applied pressures and readings"
        raise Unreadable(
            f"The certificate has no table of {needed} in units that are read here (N·m, kN·m, Pa, hPa, kPa, "
            f"MPa, bar): {ASK}"
        )
    return tuple(readings)


def _pair(table: Sequence[Series], kind: str) -> tuple[Series, Series, tuple[float, ...] | None] | None:
    """Which quantity of a table is the pressure, which was found, and with what uncertainty."""
    errors = [one for one in table if any(name.startswith(_ERROR) for name in one.types)]
    pressures = [one for one in table if one.measures is Measured.PRESSURE and one not in errors]
    if kind == Kind.WRENCH:
        at, found = pressures, [one for one in table if one.measures is Measured.TORQUE and one not in errors]
    else:
        at = [one for one in pressures if _REFERENCE in one.types]
        found = [one for one in pressures if _MEASURED in one.types]
    if not found or not at:
        return None
    at, found = _named(at, _REFERENCE), _named(found, _MEASURED)
    if len(at) != 1 or len(found) != 1:
        raise Unreadable(f"The certificate has a table that can be read in several ways: {ASK}")
    of_kind = [one for one in (*found, *errors) if one.measures is found[0].measures]
    stated = [one.expanded for one in of_kind if one.expanded]
    return at[0], found[0], stated[0] if stated else None


def _named(several: list[Series], name: str) -> list[Series]:
    """Those of a reference type, when there are several and some bear it."""
    return [one for one in several if name in one.types] or several if len(several) > 1 else several


def _points(stage: Stage, at: Series, found: Series, expanded: tuple[float, ...] | None) -> Iterator[Reading]:
    count = len(at.values)
    if len(found.values) != count or (expanded is not None and len(expanded) != count):
        raise Unreadable(f"The certificate has not as many pressures as values found: {ASK}")
    for n in range(count):
        if at.values[n] < 0 or found.values[n] < 0:
            raise Unreadable(f"The certificate has a pressure or a torque below zero: {ASK}")
        uncertainty = expanded[n] if expanded else None
        yield Reading(stage, at.written[n], at.values[n], found.written[n], found.values[n], uncertainty)
