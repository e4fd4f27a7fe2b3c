"""Jobs and their joints."""

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
from fleet.measures.quantities import Kind as Measured
from fleet.records import JobRow, JointRow
from fleet.refusals import Unreadable
from fleet.rules.register import Role

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


_JOINTS = (
    needed("Joint", "mark", text),
    needed("Bolts", "bolts", at_least_one),
    maybe("Thread", "thread", _thread),
    maybe("Nut series", "nut_series", one_of(NutSeries)),
    measured("Across flats", Measured.LENGTH, "across_flats_written", "across_flats_mm"),
    Field(
        "Target torque",
        ("torque_written", "torque_nm"),
        measured("Target torque", Measured.TORQUE, "torque_written", "torque_nm").read,
    ),
    maybe("Tolerance percent", "tolerance_percent", decimal(0, 100, after="%")),
    maybe("Loosening factor", "loosening_factor", decimal(0, _MOST_FACTOR)),
    maybe("Loosening reason", "loosening_reason", text),
    maybe("Planned cycles", "planned_cycles", count),
    maybe("Planned minutes", "planned_minutes", count),
    maybe("Turn degrees", "turn_degrees", decimal(0, MOST_DEGREES, after="°")),
)


def take_joints(work: Work, tables: Sequence[Table]) -> None:
    """Joints by job and mark."""
    fields = (Field("Job", ("job_id",), lambda cell, _unit: (work.known.jobs.find(cell).id,)), *_JOINTS)
    sites = {job.id: job.site_id for job in work.known.jobs.exact.values()}
    pile = Pile(work, JointRow, fields, lambda row: (row.job_id, row.mark.casefold()))
    lines = [
        (line, (line.values["job_id"], line.values["mark"].casefold())) for line in work.lines(tables, fields)
    ]
    for line, key in only_once(work, lines):
        with work.judging(line):
            about = f"{line.cell('Job')}, {line.values['mark']}"
            pile.lay(line, Laid(key, about, sites[line.values["job_id"]], _WHO), _judge_joint)
    pile.write("joints")
    work.known.forget("joints")


def _judge_joint(joint: Mapping[str, Any], _before: Mapping[str, Any] | None) -> None:
    if (joint["loosening_factor"] is None) != (joint["loosening_reason"] is None):
        missing = "Loosening factor" if joint["loosening_factor"] is None else "Loosening reason"
        raise CellRefused(
            "factor without reason", "Give a loosening factor with its reason, or neither.", missing
        )
