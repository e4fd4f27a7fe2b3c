"""Jobs, their joints, and the templates of joints."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fleet.desk.imports.piles import Laid, Pile, only_once
from fleet.desk.imports.work import SHARED
from fleet.records import JobRow, JointRow, JointTemplateRow
from fleet.rules.cells import CellRefused, Field, needed, text
from fleet.rules.joints import (
    ALIKE,
    JOB_CODE,
    JOB_FIELDS,
    JOINT_FIELDS,
    copy_template,
    judge_joint,
    read_window,
)
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.desk.imports.tables import Table
    from fleet.desk.imports.work import Work

_WHO = (Role.KEEPER, Role.PLANNER)
_TEMPLATES = (needed("Template", "name", text), *ALIKE)


def take_jobs(work: Work, tables: Sequence[Table]) -> None:
    """Jobs by code. Start and end are of the site's clock; a bare day as end means through that day."""
    sites = work.known.sites_by_id
    site = Field(
        "Site",
        ("site_id",),
        lambda cell, _unit: (work.known.sites.find(cell).id,),
        show=lambda number: sites[number].code,
    )
    name, *rest = JOB_FIELDS
    fields = (JOB_CODE, name, site, *rest)
    pile = Pile(work, JobRow, fields, lambda row: row.code.casefold())
    lines = [(line, line.values["code"].casefold()) for line in work.lines(tables, fields)]
    for line, key in only_once(work, lines):
        with work.judging(line):
            site_id = line.values["site_id"]
            read_window(line.values, sites[site_id].zone)
            kept = pile.kept.get(key)
            if kept and kept.site_id != site_id:
                work.allow(kept.site_id, *_WHO)
            pile.lay(line, Laid(key, line.values["code"], site_id, _WHO))
    pile.write("jobs")
    work.known.forget("jobs")


def take_templates(work: Work, tables: Sequence[Table]) -> None:
    """Joint templates by name."""
    pile = Pile(work, JointTemplateRow, _TEMPLATES, lambda row: row.name.casefold())
    lines = [(line, line.values["name"].casefold()) for line in work.lines(tables, _TEMPLATES)]
    for line, key in only_once(work, lines):
        with work.judging(line):
            pile.lay(line, Laid(key, line.values["name"], SHARED, _WHO), judge_joint)
    pile.write("joint templates")
    work.known.forget("templates")


def take_joints(work: Work, tables: Sequence[Table]) -> None:
    """Joints by job and mark; what a row leaves empty is copied from the template that it names."""
    fields = (
        Field("Job", ("job_id",), lambda cell, _unit: (work.known.jobs.find(cell).id,)),
        *JOINT_FIELDS,
    )
    sites = {job.id: job.site_id for job in work.known.jobs.exact.values()}
    pile = Pile(work, JointRow, fields, lambda row: (row.job_id, row.mark.casefold()))
    lines = [
        (line, (line.values["job_id"], line.values["mark"].casefold())) for line in work.lines(tables, fields)
    ]
    for line, key in only_once(work, lines):
        with work.judging(line):
            _copy_template(work, line.values)
            about = f"{line.cell('Job')}, {line.values['mark']}"
            pile.lay(line, Laid(key, about, sites[line.values["job_id"]], _WHO), judge_joint)
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
    copy_template(values, {**template})
