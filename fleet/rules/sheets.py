"""The sheets that the room reads and writes: their names, headings, and what else people call a heading.

Both directions use these definitions, so that what is written can be read again.
"""

from __future__ import annotations

import re

from fleet.measures.quantities import Kind
from fleet.rules.columns import Sheet, maybe, needed

_PRESSURE, _TORQUE, _LENGTH, _VOLUME = Kind.PRESSURE, Kind.TORQUE, Kind.LENGTH, Kind.VOLUME
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

# What a joint and its template say alike.
_TEMPLATE = "joint template, kind of joint"
_BOLTS = "number of bolts, bolt count, no of bolts"
_TARGET = "torque, final torque, tightening torque"
_BOLTING = (
    maybe("Thread", "bolt, bolt size, thread size"),
    maybe("Nut series", "nut, nuts"),
    maybe("Across flats", _FLATS, _LENGTH),
)
_ALLOWED = (
    maybe("Tolerance percent", "tolerance, torque tolerance, tolerance %"),
    maybe("Loosening factor", "breakout factor"),
    maybe("Loosening reason", "reason for loosening factor, breakout reason"),
    maybe("Turn degrees", "degrees of turn, turn of one nut, turn angle"),
)
_ACCESS = (
    maybe("Duration minutes", "duration, working minutes, minutes of work"),
    maybe("Wrenches at once", "wrenches together, number of wrenches"),
    maybe("Head", "wrench head, head type"),
    maybe("Square drive", "drive, drive size, square", _LENGTH),
    maybe("Widest", "width limit, greatest width, room beside", _LENGTH),
    maybe("Highest", "height limit, greatest height, room above", _LENGTH),
    maybe("Heaviest", "weight limit, greatest weight", Kind.MASS),
)

SHEETS: tuple[Sheet, ...] = (
    Sheet(
        "sites",
        (
            needed("Site", _SITE + ", code"),
            needed("Name", "site name"),
            needed("Time zone", "tz, zone"),
            needed("Pressure unit", "pressure units, unit of pressure"),
            needed("Torque unit", "torque units, unit of torque"),
            maybe("Letter day", "letter weekday, day of letter"),
            maybe("Letter hour", "hour of letter"),
            needed("Spare address", "spare e-mail, fallback address, spare mail address"),
            maybe("Quiet from", "quiet hours from, quiet hours begin"),
            maybe("Quiet until", "quiet hours until, quiet hours end"),
            maybe("Working days", "working week, days of work"),
        ),
    ),
    Sheet(
        "people",
        (
            needed("Badge", "badge no, badge number, staff no, personnel no"),
            needed("Name", "full name, person"),
            maybe("E-mail", "email, mail, e-mail address, mail address, address"),
            maybe("Site", _SITE),
            maybe("Role", "function"),
            maybe("Active", "still active, in use"),
            maybe("Deputy", "deputy badge, stand-in"),
        ),
    ),
    Sheet(
        "couplings",
        (
            needed("Series", "coupling series, coupling"),
            needed("Size", "coupling size, thread size"),
            needed("Maximum working pressure", _BOTH, _PRESSURE),
            maybe("Flush face", "flush-faced, flat face"),
        ),
    ),
    Sheet(
        "models",
        (
            needed("Model", _MODEL),
            needed("Kind", "sort, category"),
            maybe("Description", "text, details"),
            maybe("Maximum working pressure advance", _ADVANCE, _PRESSURE),
            maybe("Maximum working pressure retract", _RETRACT, _PRESSURE),
            maybe("Maximum working pressure", _BOTH, _PRESSURE, written=False),
            maybe("Head", "wrench head, head type"),
            maybe("Square drive", "drive, drive size, square", _LENGTH),
            maybe("Across flats", _FLATS, _LENGTH),
            maybe(
                "Relief setting advance", "relief advance, advance relief, relief valve advance", _PRESSURE
            ),
            maybe(
                "Relief setting retract", "relief retract, retract relief, relief valve retract", _PRESSURE
            ),
            maybe("Burst ratio", "burst factor, safety factor, burst"),
            maybe("Length", "hose length", _LENGTH),
            maybe("Range", "scale, gauge range, full scale", _PRESSURE),
            maybe("Class", "accuracy class, accuracy, grade"),
            maybe("Graduation", "scale division, division, scale interval", _PRESSURE),
            maybe("Stroke degrees", "degrees per stroke, stroke angle, turn per stroke"),
            maybe("Advance volume", "advance stroke volume, stroke volume, oil of a stroke", _VOLUME),
            maybe("Return volume", "return stroke volume, oil of a return stroke", _VOLUME),
            maybe("Flow", "pump flow, flow at working pressure, delivery", Kind.FLOW),
            maybe("Bulk months", "age of bulk hose at make-up, bulk hose months"),
            maybe("Storage months", "storage before first use, shelf months"),
            maybe("Width", "width of the wrench, widest part", _LENGTH),
            maybe("Height", "height of the wrench, highest part", _LENGTH),
            maybe("Weight", "mass", Kind.MASS),
            maybe("Reaction arm", "arm, arm length, lever arm", _LENGTH),
        ),
    ),
    Sheet(
        "ports",
        (
            needed("Model", _MODEL),
            needed("Line", "hydraulic line"),
            needed("Faces", "side, end, facing"),
            needed("Series", "coupling series, coupling"),
            needed("Size", "coupling size, thread size"),
            needed("Half", "coupling half, gender"),
        ),
    ),
    Sheet(
        "charts",
        (
            needed("Model", _MODEL),
            maybe("Tag", _TAG),
            needed("Pressure", "pump pressure, set pressure", _PRESSURE),
            needed("Torque", "output torque", _TORQUE),
            maybe("Source", "chart source, taken from"),
        ),
    ),
    Sheet(
        "upkeep",
        (
            needed("Task", "upkeep task, upkeep"),
            needed("Kind", "sort, category"),
            maybe("Model", _MODEL),
            maybe("Months", "every months, interval months"),
            maybe("Cycles", "every cycles, interval cycles"),
            maybe("Pump hours", "hours, every hours, every pump hours, running hours"),
            maybe("Counts from", "counted from, starts from"),
            maybe("Lead days", "lead time, lead, days ahead"),
            maybe("Stop", "stops"),
            maybe("Proved by", "shown by, asks for"),
            maybe("Again after", "due again after, after repair"),
        ),
    ),
    Sheet(
        "items",
        (
            maybe("Tag", _TAG),
            needed("Model", _MODEL),
            needed("Serial", "serial no, serial number, s/n, sn, ser no"),
            needed("Site", _SITE),
            maybe("Shelf", "bin, place, rack, storage place"),
            maybe("Received", "received on, date received, in since"),
            maybe("Assembled", "assembled on, date of assembly, assembly date, made on"),
            maybe(
                "Relief setting advance", "relief advance, advance relief, relief valve advance", _PRESSURE
            ),
            maybe(
                "Relief setting retract", "relief retract, retract relief, relief valve retract", _PRESSURE
            ),
            maybe("Retired", "retired on, withdrawn, scrapped on"),
            maybe("Retired because", "reason retired, retired reason, why retired"),
            maybe("Bulk made on", "bulk hose made on, bulk hose of"),
        ),
    ),
    Sheet(
        "jobs",
        (
            needed("Job", _JOB + ", code"),
            needed("Name", "job name, title, work"),
            needed("Site", _SITE),
            needed("Start", "starts, begin, begins, from"),
            needed("End", "ends, finish, until, to"),
            maybe("Crews", "number of crews, teams"),
        ),
    ),
    Sheet(
        "joint templates",
        (
            needed("Template", _TEMPLATE),
            needed("Bolts", _BOLTS),
            *_BOLTING,
            needed("Target torque", _TARGET, _TORQUE),
            *_ALLOWED,
            *_ACCESS,
        ),
    ),
    Sheet(
        "joints",
        (
            needed("Job", _JOB),
            needed("Joint", "joint no, mark, flange, joint mark"),
            maybe("Template", _TEMPLATE, written=False),
            maybe("Bolts", _BOLTS),
            *_BOLTING,
            maybe("Target torque", _TARGET, _TORQUE),
            *_ALLOWED[:-1],
            maybe("Planned cycles", "cycles planned, cycles"),
            maybe("Planned minutes", "minutes planned, planned pump minutes"),
            *_ALLOWED[-1:],
            *_ACCESS,
        ),
    ),
    Sheet(
        "breakouts",
        (
            needed("Job", _JOB),
            needed("Joint", "joint no, mark, flange, joint mark"),
            maybe("Tag", _TAG + ", wrench"),
            needed("Measured on", "measured, date measured, day"),
            maybe("Torque", "breakout torque, loosening torque, torque measured", _TORQUE),
            maybe("Pressure", "pump pressure, breakout pressure, pressure measured", _PRESSURE),
            maybe("By", "measured by, " + _WHO),
            maybe("Note", "reason, " + _NOTE),
            maybe("Entry", "entry id, entry no"),
            maybe("Withdraws", "withdraws entry, takes back"),
        ),
    ),
    Sheet(
        "upkeep done",
        (
            needed("Tag", _TAG),
            needed("Task", "upkeep task, upkeep"),
            needed("Done on", "done, date done, done date"),
            maybe("Cycles", "cycles then, meter cycles, at cycles"),
            maybe("Pump minutes", _MINUTES),
            maybe("By", "done by, " + _WHO),
            maybe("Note", _NOTE),
            maybe("Entry", "entry id, entry no"),
        ),
    ),
    Sheet(
        "use",
        (
            needed("Tag", _TAG),
            needed("Used on", "used, date used, day of use"),
            maybe("Job", _JOB),
            needed("Cycles", "cycles used, strokes"),
            maybe("Pump minutes", _MINUTES),
            maybe("By", "used by, booked by, " + _WHO),
            maybe("Note", "reason, " + _NOTE),
            maybe("Entry", "entry id, entry no"),
            maybe("Reverses", "reverses entry, reversal of, takes back"),
        ),
    ),
    Sheet(
        "holds",
        (
            needed("Tag", _TAG),
            needed("Cause", "hold cause"),
            needed("Reason", "hold reason, why"),
            needed("Opened on", "opened, held since, on hold since"),
            maybe("Released on", "released, released at"),
            maybe("Evidence", "release evidence, proof"),
            maybe("By", "opened by, held by, " + _WHO),
            maybe("Released by", "freed by"),
        ),
    ),
    Sheet(
        "loans",
        (
            needed("Tag", _TAG),
            needed("Borrower", "lent to, holder, borrowed by"),
            needed("Job", _JOB),
            needed("Issued on", "issued, out since, handed out"),
            needed("Back on", "due back, return by, back"),
            maybe("By", "issued by, handed out by"),
        ),
    ),
    Sheet(
        "competences",
        (
            needed("Badge", "badge no, badge number, staff no, personnel no"),
            needed("Kind", "sort, category"),
            needed("Task", "upkeep task, upkeep"),
            needed("Expires on", "expires, valid until, competent until"),
            needed("Evidence", "proof, instruction, training"),
        ),
    ),
    Sheet(
        "reservations",
        (
            needed("Tag", _TAG),
            needed("Job", _JOB),
            maybe("Joint", "joint no, mark, flange, joint mark"),
            needed("From", "start, starts, begin"),
            needed("To", "end, ends, until"),
            maybe("By", "reserved by, planned by"),
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
