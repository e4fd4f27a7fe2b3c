"""Jobs, their joints, and the templates of joints."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fleet.bolting.strokes import MOST_DEGREES
from fleet.bolting.threads import NutSeries, read_thread
from fleet.desk.imports.cells import (
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
from fleet.desk.imports.piles import Laid, Pile, only_once
from fleet.desk.imports.refusing import CellRefused
from fleet.desk.imports.work import SHARED
from fleet.measures.quantities import Kind as Measured
from fleet.records import JobRow, JointRow, JointTemplateRow
from fleet.refusals import Unreadable
from fleet.rules.register import Head, Role

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.desk.imports.tables import Table
    from fleet.desk.imports.work import Line, Work

_WHO = (Role.KEEPER, Role.PLANNER)
_MOST_FACTOR = 5.0


def _thread(cell: str, _unit: str | None) -> tuple[str]:
    read_thread(cell)
    return (cell,)


def take_jobs(work: Work, tables: Sequence[Table]) -> None:
    """Jobs by code. Start and end are of the site's clock; a bare day as end means through that day."""
    sites = work.known.sites_by_id
    fields = (
        needed("Job", "code", text),
        needed("Name", "name", text),
        Field(
            "Site",
            ("site_id",),
            lambda cell, _unit: (work.known.sites.find(cell).id,),
            show=lambda number: sites[number].code,
        ),
        moment("Start", "starts_at"),
        moment("End", "ends_at"),
        maybe("Crews", "crews", at_least_one),
    )
    pile = Pile(work, JobRow, fields, lambda row: row.code.casefold())
    lines = [(line, line.values["code"].casefold()) for line in work.lines(tables, fields)]
    for line, key in only_once(work, lines):
        with work.judging(line):
            site_id = line.values["site_id"]
            read_window(work, line, site_id, ("Start", "starts_at"), ("End", "ends_at"))
            kept = pile.kept.get(key)
            if kept and kept.site_id != site_id:
                work.allow(kept.site_id, *_WHO)
            pile.lay(line, Laid(key, line.values["code"], site_id, _WHO))
    pile.write("jobs")
    work.known.forget("jobs")


def read_window(work: Work, line: Line, site_id: int, start: tuple[str, str], end: tuple[str, str]) -> None:
    """Put instants for the two cells of a window [start, end); each is a heading and a name of the record."""
    zone = work.known.sites_by_id[site_id].zone
    for (heading, name), last in ((start, False), (end, True)):
        try:
            line.values[name] = read_when(line.values[name], zone, end=last)
        except Unreadable as refusal:
            raise CellRefused("unreadable", str(refusal), heading) from refusal
    if line.values[start[1]] >= line.values[end[1]]:
        raise CellRefused("ends first", f"{end[0]} must be after {start[0]}; check both.", end[0])


# What a joint and its template say alike.
_ALIKE = (
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
_TEMPLATES = (needed("Template", "name", text), *_ALIKE)
_JOINTS = (
    needed("Joint", "mark", text),
    maybe("Template", "template", text),
    *_ALIKE,
    maybe("Planned cycles", "planned_cycles", count),
    maybe("Planned minutes", "planned_minutes", count),
)
# What is copied from a template together, when nothing of it is given.
_COPIED = (
    *(one.into for one in _ALIKE if not one.heading.startswith("Loosening")),
    ("loosening_factor", "loosening_reason"),
)


def take_templates(work: Work, tables: Sequence[Table]) -> None:
    """Joint templates by name."""
    pile = Pile(work, JointTemplateRow, _TEMPLATES, lambda row: row.name.casefold())
    lines = [(line, line.values["name"].casefold()) for line in work.lines(tables, _TEMPLATES)]
    for line, key in only_once(work, lines):
        with work.judging(line):
            pile.lay(line, Laid(key, line.values["name"], SHARED, _WHO), _judge_joint)
    pile.write("joint templates")
    work.known.forget("templates")


def take_joints(work: Work, tables: Sequence[Table]) -> None:
    """Joints by job and mark; what a row leaves empty is copied from the template that it names."""
    fields = (Field("Job", ("job_id",), lambda cell, _unit: (work.known.jobs.find(cell).id,)), *_JOINTS)
    sites = {job.id: job.site_id for job in work.known.jobs.exact.values()}
    pile = Pile(work, JointRow, fields, lambda row: (row.job_id, row.mark.casefold()))
    lines = [
        (line, (line.values["job_id"], line.values["mark"].casefold())) for line in work.lines(tables, fields)
    ]
    for line, key in only_once(work, lines):
        with work.judging(line):
            _copy_template(work, line.values)
            about = f"{line.cell('Job')}, {line.values['mark']}"
            pile.lay(line, Laid(key, about, sites[line.values["job_id"]], _WHO), _judge_joint)
    pile.write("joints")
    work.known.forget("joints")


def _copy_template(work: Work, values: dict[str, Any]) -> None:
    name = values.pop("template", None)
    if name is None:
        return
    try:
        template = work.known.templates.find(name)
    except CellRefused as refusal:
        raise CellRefused(refusal.rule, str(refusal), "Template") from refusal
    for together in _COPIED:
        if all(values.get(column) is None for column in together):
            values.update({column: template[column] for column in together})


def _judge_joint(joint: Mapping[str, Any], _before: Mapping[str, Any] | None) -> None:
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
