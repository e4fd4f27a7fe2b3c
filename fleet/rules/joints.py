"""What a job and a joint may say, in a sheet or typed by hand: how it is read, and what must go together."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fleet.bolting.strokes import MOST_DEGREES
from fleet.bolting.threads import NutSeries, read_thread
from fleet.measures.quantities import Kind as Measured
from fleet.refusals import Unreadable
from fleet.rules.cells import (
    CellRefused,
    Field,
    at_least_one,
    count,
    decimal,
    maybe,
    measured,
    moment,
    needed,
    one_of,
    read_when,
    text,
)
from fleet.rules.register import Head

if TYPE_CHECKING:
    from collections.abc import Mapping
    from zoneinfo import ZoneInfo

_MOST_FACTOR = 5.0


def _thread(cell: str, _unit: str | None) -> tuple[str]:
    read_thread(cell)
    return (cell,)


JOB_CODE = needed("Job", "code", text)
JOB_FIELDS = (
    needed("Name", "name", text),
    moment("Start", "starts_at"),
    moment("End", "ends_at"),
    maybe("Crews", "crews", at_least_one),
)
# What a joint and its template say alike.
ALIKE = (
    Field("Bolts", ("bolts",), at_least_one, empty=(None,)),
    maybe("Thread", "thread", _thread),
    maybe("Nut series", "nut_series", one_of(NutSeries)),
    measured("Across flats", Measured.LENGTH, "across_flats_written", "across_flats_mm"),
    measured("Target torque", Measured.TORQUE, "torque_written", "torque_nm"),
    maybe("Tolerance percent", "tolerance_percent", decimal(0, 100, after="%")),
    maybe("Loosening factor", "loosening_factor", decimal(0, _MOST_FACTOR)),
    maybe("Loosening reason", "loosening_reason", text),
    maybe("Turn degrees", "turn_degrees", decimal(0, MOST_DEGREES, after="°")),
    maybe("Duration minutes", "duration_minutes", at_least_one),
    maybe("Wrenches at once", "wrenches_at_once", at_least_one),
    maybe("Head", "head", one_of(Head)),
    measured("Square drive", Measured.LENGTH, "drive_written", "drive_mm"),
    measured("Widest", Measured.LENGTH, "widest_written", "widest_mm"),
    measured("Highest", Measured.LENGTH, "highest_written", "highest_mm"),
    measured("Heaviest", Measured.MASS, "heaviest_written", "heaviest_kg"),
)
MARK = needed("Joint", "mark", text)
JOINT_FIELDS = (
    MARK,
    maybe("Template", "template", text),
    *ALIKE,
    maybe("Planned cycles", "planned_cycles", count),
    maybe("Planned minutes", "planned_minutes", count),
)
# What is copied from a template together, when nothing of it is given.
_COPIED = (
    *(one.into for one in ALIKE if not one.heading.startswith("Loosening")),
    ("loosening_factor", "loosening_reason"),
)
_WINDOW = (("Start", "starts_at"), ("End", "ends_at"))


def read_window(
    values: dict[str, Any],
    zone: ZoneInfo,
    start: tuple[str, str] = _WINDOW[0],
    end: tuple[str, str] = _WINDOW[1],
) -> None:
    """Put instants for the two texts of a window [start, end); each is a heading and a name of the record."""
    for (heading, name), last in ((start, False), (end, True)):
        try:
            values[name] = read_when(values[name], zone, end=last)
        except Unreadable as refusal:
            raise CellRefused("unreadable", str(refusal), heading) from refusal
    if values[start[1]] >= values[end[1]]:
        raise CellRefused("ends first", f"{end[0]} must be after {start[0]}; check both.", end[0])


def copy_template(values: dict[str, Any], template: Mapping[str, Any]) -> None:
    """Fill what is left empty with what the template says."""
    for together in _COPIED:
        if all(values.get(column) is None for column in together):
            values.update({column: template[column] for column in together})


def judge_joint(joint: Mapping[str, Any], _before: Mapping[str, Any] | None = None) -> None:
    """Refuse a joint, or a template of one, that says too little or contradicts itself."""
    for column, heading in (("bolts", "Bolts"), ("torque_nm", "Target torque")):
        if joint[column] is None:
            raise CellRefused(
                "missing", f"{heading} is needed, here or in a template that is named.", heading
            )
    if (joint["loosening_factor"] is None) != (joint["loosening_reason"] is None):
        missing = "Loosening factor" if joint["loosening_factor"] is None else "Loosening reason"
        raise CellRefused(
            "factor without reason", "Give a loosening factor with its reason, or neither.", missing
        )
    if joint["head"] == Head.RATCHET_LINK and joint["drive_mm"] is not None:
        raise CellRefused(
            "head and drive",
            "A ratchet link has no square drive; leave one of the two empty.",
            "Square drive",
        )
