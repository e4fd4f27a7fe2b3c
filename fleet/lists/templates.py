"""Templates of joints: what a kind of joint asks for, written once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import select

from fleet.lists.rows import lines
from fleet.records import JointTemplateRow
from fleet.refusals import NotFound
from fleet.rules.nearest import hint

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class TemplateLine:
    """One template. Torque in N·m; the rest as written, and empty where any will do."""

    template: str
    bolts: int
    thread: str | None
    nut_series: str | None
    across_flats_written: str | None
    torque_written: str
    torque_nm: float
    tolerance_percent: float | None
    loosening_factor: float | None
    loosening_reason: str | None
    turn_degrees: float | None
    duration_minutes: int | None
    wrenches_at_once: int | None
    head: str | None
    drive_written: str | None
    widest_written: str | None
    highest_written: str | None
    heaviest_written: str | None


_TEMPLATES = select(
    JointTemplateRow.name,
    JointTemplateRow.bolts,
    JointTemplateRow.thread,
    JointTemplateRow.nut_series,
    JointTemplateRow.across_flats_written,
    JointTemplateRow.torque_written,
    JointTemplateRow.torque_nm,
    JointTemplateRow.tolerance_percent,
    JointTemplateRow.loosening_factor,
    JointTemplateRow.loosening_reason,
    JointTemplateRow.turn_degrees,
    JointTemplateRow.duration_minutes,
    JointTemplateRow.wrenches_at_once,
    JointTemplateRow.head,
    JointTemplateRow.drive_written,
    JointTemplateRow.widest_written,
    JointTemplateRow.highest_written,
    JointTemplateRow.heaviest_written,
).order_by(JointTemplateRow.name)


def templates(db: Connection) -> list[TemplateLine]:
    """Every template, by name."""
    return lines(TemplateLine, db.execute(_TEMPLATES))


def find_template(db: Connection, asked: str) -> TemplateLine:
    """One template by its name, whatever its case."""
    known = templates(db)
    for one in known:
        if one.template.casefold() == asked.strip().casefold():
            return one
    near = hint(asked.strip(), (one.template for one in known))
    raise NotFound(f"There is no joint template {asked.strip()!r}.{near} See: fleet template list")
