"""The sheets that the room reads and writes: their names, headings, and what else people call a heading.

Both directions use these definitions, so that what is written can be read again.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from fleet.measures.quantities import Kind


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its heading, other headings for it, whether it is needed, and what its numbers measure.

    A column that is not ``written`` is only read: it stands for two that are.
    """

    heading: str
    also: tuple[str, ...] = ()
    needed: bool = False
    measures: Kind | None = None
    written: bool = True


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet, with its columns in the order in which they are written."""

    name: str
    columns: tuple[Column, ...]

    @property
    def headings(self) -> tuple[str, ...]:
        """The headings as they are written."""
        return tuple(column.heading for column in self.columns if column.written)


def _needed(heading: str, also: str = "", measures: Kind | None = None) -> Column:
    return Column(heading, _names(also), needed=True, measures=measures)


def _maybe(heading: str, also: str = "", measures: Kind | None = None, *, written: bool = True) -> Column:
    return Column(heading, _names(also), measures=measures, written=written)


def _names(also: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in also.split(",") if name.strip())


_PRESSURE, _TORQUE, _LENGTH = Kind.PRESSURE, Kind.TORQUE, Kind.LENGTH
_MODEL = "model no, model number, designation, type"
_TAG = "tag no, tag number, item, item tag, label"
_SITE = "site code, tool room, location"
_JOB = "job no, job number, job code, work order"
_FLATS = "a/f, af, width across flats, hexagon, hex"
_BOTH = "max working pressure, mwp, rated pressure, max pressure, working pressure"
_ADVANCE = "max working pressure advance, mwp advance, advance mwp, advance pressure"
_RETRACT = "max working pressure retract, mwp retract, retract mwp, retract pressure"
_MINUTES = "minutes, pump min, running minutes"
_NOTE = "remark, remarks, notes, comment, comments"
_WHO = "by whom, person, who"

SHEETS: tuple[Sheet, ...] = (
    Sheet(
        "sites",
        (
            _needed("Site", _SITE + ", code"),
            _needed("Name", "site name"),
            _needed("Time zone", "tz, zone"),
            _needed("Pressure unit", "pressure units, unit of pressure"),
            _needed("Torque unit", "torque units, unit of torque"),
            _maybe("Letter day", "letter weekday, day of letter"),
            _maybe("Letter hour", "hour of letter"),
            _needed("Spare address", "spare e-mail, fallback address, spare mail address"),
        ),
    ),
    Sheet(
        "people",
        (
            _needed("Badge", "badge no, badge number, staff no, personnel no"),
            _needed("Name", "full name, person"),
            _maybe("E-mail", "email, mail, e-mail address, mail address, address"),
            _maybe("Site", _SITE),
            _maybe("Role", "function"),
            _maybe("Active", "still active, in use"),
        ),
    ),
    Sheet(
        "couplings",
        (
            _needed("Series", "coupling series, coupling"),
            _needed("Size", "coupling size, thread size"),
            _needed("Maximum working pressure", _BOTH, _PRESSURE),
            _maybe("Flush face", "flush-faced, flat face"),
        ),
    ),
    Sheet(
        "models",
        (
            _needed("Model", _MODEL),
            _needed("Kind", "sort, category"),
            _maybe("Description", "text, details"),
            _maybe("Maximum working pressure advance", _ADVANCE, _PRESSURE),
            _maybe("Maximum working pressure retract", _RETRACT, _PRESSURE),
            _maybe("Maximum working pressure", _BOTH, _PRESSURE, written=False),
            _maybe("Head", "wrench head, head type"),
            _maybe("Square drive", "drive, drive size, square", _LENGTH),
            _maybe("Across flats", _FLATS, _LENGTH),
            _maybe(
                "Relief setting advance", "relief advance, advance relief, relief valve advance", _PRESSURE
            ),
            _maybe(
                "Relief setting retract", "relief retract, retract relief, relief valve retract", _PRESSURE
            ),
            _maybe("Burst ratio", "burst factor, safety factor, burst"),
            _maybe("Length", "hose length", _LENGTH),
            _maybe("Range", "scale, gauge range, full scale", _PRESSURE),
            _maybe("Class", "accuracy class, accuracy, grade"),
            _maybe("Graduation", "scale division, division, scale interval", _PRESSURE),
        ),
    ),
    Sheet(
        "ports",
        (
            _needed("Model", _MODEL),
            _needed("Line", "hydraulic line"),
            _needed("Faces", "side, end, facing"),
            _needed("Series", "coupling series, coupling"),
            _needed("Size", "coupling size, thread size"),
            _needed("Half", "coupling half, gender"),
        ),
    ),
    Sheet(
        "charts",
        (
            _needed("Model", _MODEL),
            _maybe("Tag", _TAG),
            _needed("Pressure", "pump pressure, set pressure", _PRESSURE),
            _needed("Torque", "output torque", _TORQUE),
            _maybe("Source", "chart source, taken from"),
        ),
    ),
    Sheet(
        "upkeep",
        (
            _needed("Task", "upkeep task, upkeep"),
            _needed("Kind", "sort, category"),
            _maybe("Model", _MODEL),
            _maybe("Months", "every months, interval months"),
            _maybe("Cycles", "every cycles, interval cycles"),
            _maybe("Pump hours", "hours, every hours, every pump hours, running hours"),
            _maybe("Counts from", "counted from, starts from"),
            _maybe("Lead days", "lead time, lead, days ahead"),
            _maybe("Stop", "stops"),
        ),
    ),
    Sheet(
        "items",
        (
            _maybe("Tag", _TAG),
            _needed("Model", _MODEL),
            _needed("Serial", "serial no, serial number, s/n, sn, ser no"),
            _needed("Site", _SITE),
            _maybe("Shelf", "bin, place, rack, storage place"),
            _maybe("Received", "received on, date received, in since"),
            _maybe("Assembled", "assembled on, date of assembly, assembly date, made on"),
            _maybe(
                "Relief setting advance", "relief advance, advance relief, relief valve advance", _PRESSURE
            ),
            _maybe(
                "Relief setting retract", "relief retract, retract relief, relief valve retract", _PRESSURE
            ),
            _maybe("Retired", "retired on, withdrawn, scrapped on"),
            _maybe("Retired because", "reason retired, retired reason, why retired"),
        ),
    ),
    Sheet(
        "jobs",
        (
            _needed("Job", _JOB + ", code"),
            _needed("Name", "job name, title, work"),
            _needed("Site", _SITE),
            _needed("Start", "starts, begin, begins, from"),
            _needed("End", "ends, finish, until, to"),
        ),
    ),
    Sheet(
        "joints",
        (
            _needed("Job", _JOB),
            _needed("Joint", "joint no, mark, flange, joint mark"),
            _needed("Bolts", "number of bolts, bolt count, no of bolts"),
            _maybe("Thread", "bolt, bolt size, thread size"),
            _maybe("Nut series", "nut, nuts"),
            _maybe("Across flats", _FLATS, _LENGTH),
            _needed("Target torque", "torque, final torque, tightening torque", _TORQUE),
            _maybe("Tolerance percent", "tolerance, torque tolerance, tolerance %"),
            _maybe("Loosening factor", "breakout factor"),
            _maybe("Loosening reason", "reason for loosening factor, breakout reason"),
            _maybe("Planned cycles", "cycles planned, cycles"),
            _maybe("Planned minutes", "minutes planned, planned pump minutes"),
        ),
    ),
    Sheet(
        "upkeep done",
        (
            _needed("Tag", _TAG),
            _needed("Task", "upkeep task, upkeep"),
            _needed("Done on", "done, date done, done date"),
            _maybe("Cycles", "cycles then, meter cycles, at cycles"),
            _maybe("Pump minutes", _MINUTES),
            _maybe("By", "done by, " + _WHO),
            _maybe("Note", _NOTE),
            _maybe("Entry", "entry id, entry no"),
        ),
    ),
    Sheet(
        "use",
        (
            _needed("Tag", _TAG),
            _needed("Used on", "used, date used, day of use"),
            _maybe("Job", _JOB),
            _needed("Cycles", "cycles used, strokes"),
            _maybe("Pump minutes", _MINUTES),
            _maybe("By", "used by, booked by, " + _WHO),
            _maybe("Note", "reason, " + _NOTE),
            _maybe("Entry", "entry id, entry no"),
            _maybe("Reverses", "reverses entry, reversal of, takes back"),
        ),
    ),
    Sheet(
        "holds",
        (
            _needed("Tag", _TAG),
            _needed("Cause", "hold cause"),
            _needed("Reason", "hold reason, why"),
            _needed("Opened on", "opened, held since, on hold since"),
            _maybe("Released on", "released, released at"),
            _maybe("Evidence", "release evidence, proof"),
            _maybe("By", "opened by, held by, " + _WHO),
            _maybe("Released by", "freed by"),
        ),
    ),
    Sheet(
        "loans",
        (
            _needed("Tag", _TAG),
            _needed("Borrower", "lent to, holder, borrowed by"),
            _needed("Job", _JOB),
            _needed("Issued on", "issued, out since, handed out"),
            _needed("Back on", "due back, return by, back"),
            _maybe("By", "issued by, handed out by"),
        ),
    ),
    Sheet(
        "reservations",
        (
            _needed("Tag", _TAG),
            _needed("Job", _JOB),
            _maybe("Joint", "joint no, mark, flange, joint mark"),
            _needed("From", "start, starts, begin"),
            _needed("To", "end, ends, until"),
            _maybe("By", "reserved by, planned by"),
        ),
    ),
)

_DANGEROUS = re.compile(r"'*[=+\-@\t\r\n]")
_GUARDED = re.compile(r"'+[=+\-@\t\r\n]")


def guard(text: str) -> str:
    """Put an apostrophe before text that a spreadsheet would run as a formula; ``unguard`` takes it off."""
    return f"'{text}" if _DANGEROUS.match(text) else text


def unguard(text: str) -> str:
    """Take off the apostrophe that ``guard`` put on."""
    return text[1:] if _GUARDED.match(text) else text
