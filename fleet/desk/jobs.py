"""Jobs and their joints, added and changed by hand. A form sent twice finds what it asks for done already."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import bindparam, func, insert, or_, select, update
from sqlalchemy.exc import IntegrityError

from fleet.ledgers import daybook
from fleet.lists.jobs import find_job, find_joint
from fleet.lists.sites import find_site
from fleet.lists.templates import find_template
from fleet.measures.times import zone
from fleet.records import JobRow, JointRow, JointTemplateRow, ReservationRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.cells import read_all
from fleet.rules.joints import (
    JOB_CODE,
    JOB_FIELDS,
    JOINT_FIELDS,
    MARK,
    copy_template,
    judge_joint,
    read_window,
)
from fleet.rules.people import Actor, require
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlalchemy import Table
    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine
    from fleet.rules.cells import Field

    Cells = Mapping[str, str]

_JOBS, _JOINTS, _TEMPLATES = rows_of(JobRow), rows_of(JointRow), rows_of(JointTemplateRow)
_JOB = select(_JOBS).where(func.lower(_JOBS.c.code) == func.lower(bindparam("code")))
_JOINT = select(_JOINTS).where(_JOINTS.c.id == bindparam("id"))
_JOINTS_OF = select(_JOINTS).where(_JOINTS.c.job_id == bindparam("job"))
_TEMPLATE = select(_TEMPLATES).where(_TEMPLATES.c.name == bindparam("name"))
_INSTANT = ReservationRow.starts_at.type
_OUTSIDE = select(func.count()).where(
    ReservationRow.job_id == bindparam("job"),
    ReservationRow.ended_at.is_(None),
    ReservationRow.ends_at > bindparam("now", type_=_INSTANT),
    or_(
        ReservationRow.starts_at < bindparam("starts_at", type_=_INSTANT),
        ReservationRow.ends_at > bindparam("ends_at", type_=_INSTANT),
    ),
)


@dataclass(frozen=True, slots=True)
class Written:
    """What a job or joint is called, the headings that were changed, and whether it stood so already.

    ``outside`` counts what is reserved for the job and reaches beyond its window; it stays as it is.
    """

    name: str
    changed: tuple[str, ...] = ()
    again: bool = False
    outside: int = 0


def add_job(db: Connection, site_code: str, cells: Cells, *, by: Actor, now: datetime) -> Written:
    """Put a job on record: its code, name, start, end and crews, by heading as in the sheet of jobs."""
    site = find_site(db, site_code)
    _allow(by, site)
    values = read_all((JOB_CODE, *JOB_FIELDS), cells)
    read_window(values, zone(site.time_zone))
    row = values | {"site_id": site.id}
    code = values["code"]
    taken = f"There is a job {code} already; give this one another code."
    known = db.execute(_JOB, {"code": code}).mappings().first()
    if known:
        if _differing(known, row):
            raise NotPossible(taken)
        return Written(known["code"], again=True)
    _insert(db, _JOBS, row, taken)
    body = {name: _told(value) for name, value in values.items()}
    daybook.enter(db, site.id, by=by, now=now, act="job added", about=code, body=body)
    return Written(code)


def change_job(db: Connection, code: str, cells: Cells, *, by: Actor, now: datetime) -> Written:
    """Change a job's name, window or crews. What is reserved for it stays as it is."""
    job = find_job(db, code)
    site = find_site(db, job.site)
    _allow(by, site)
    values = read_all(JOB_FIELDS, cells)
    read_window(values, zone(site.time_zone))
    known = db.execute(_JOB, {"code": job.code}).mappings().one()
    changed = _change(db, _JOBS, known, values, JOB_FIELDS)
    window = {name: values[name] for name in ("starts_at", "ends_at")}
    outside = db.execute(_OUTSIDE, {"job": job.id, "now": now, **window}).scalar_one()
    if changed:
        body = {"changes": changed}
        daybook.enter(db, site.id, by=by, now=now, act="job changed", about=job.code, body=body)
    return Written(job.code, tuple(one[0] for one in changed), again=not changed, outside=outside)


def add_joint(db: Connection, job_code: str, cells: Cells, *, by: Actor, now: datetime) -> Written:
    """Put a joint into a job; what is left empty is copied from the template that is named."""
    job = find_job(db, job_code)
    site = find_site(db, job.site)
    _allow(by, site)
    values = _joint(db, cells)
    mark, row = values["mark"], values | {"job_id": job.id}
    taken = f"{job.code} has a joint {mark} already; change that one, or give this one another mark."
    for known in db.execute(_JOINTS_OF, {"job": job.id}).mappings():
        if known["mark"].casefold() == mark.casefold():
            if _differing(known, row):
                raise NotPossible(taken)
            return Written(known["mark"], again=True)
    _insert(db, _JOINTS, row, taken)
    body = {name: _told(value) for name, value in values.items() if value is not None}
    daybook.enter(db, site.id, by=by, now=now, act="joint added", about=f"{job.code}, {mark}", body=body)
    return Written(mark)


def change_joint(
    db: Connection, job_code: str, mark: str, cells: Cells, *, by: Actor, now: datetime
) -> Written:
    """Change what a joint says. Its mark stays: the same mark is the same joint in every job of a site."""
    job = find_job(db, job_code)
    site = find_site(db, job.site)
    _allow(by, site)
    joint = find_joint(db, job, mark)
    values = _joint(db, {**cells, MARK.heading: joint.mark})
    known = db.execute(_JOINT, {"id": joint.id}).mappings().one()
    changed = _change(db, _JOINTS, known, values, JOINT_FIELDS)
    if changed:
        about, body = f"{job.code}, {joint.mark}", {"changes": changed}
        daybook.enter(db, site.id, by=by, now=now, act="joint changed", about=about, body=body)
    return Written(joint.mark, tuple(one[0] for one in changed), again=not changed)


def _allow(by: Actor, site: SiteLine) -> None:
    require(by, site.id, site.name, Role.PLANNER, Role.KEEPER)


def _joint(db: Connection, cells: Cells) -> dict[str, Any]:
    values = read_all(JOINT_FIELDS, cells)
    if name := values.pop("template"):
        found = find_template(db, name).template
        copy_template(values, {**db.execute(_TEMPLATE, {"name": found}).mappings().one()})
    judge_joint(values)
    return values


def _insert(db: Connection, table: Table, row: Mapping[str, Any], taken: str) -> None:
    try:
        db.execute(insert(table), row)
    except IntegrityError as error:  # Another desk was first, in the very same moment.
        raise NotPossible(taken) from error


def _change(
    db: Connection, table: Table, known: Mapping[Any, Any], values: Mapping[str, Any], fields: Sequence[Field]
) -> list[list[str]]:
    """Write what differs; answers heading, old and new of each field."""
    names = _differing(known, values)
    if names:
        db.execute(update(table).where(table.c.id == known["id"]).values({n: values[n] for n in names}))
    return [
        [one.heading, _told(known[one.into[0]]), _told(values[one.into[0]])]
        for one in fields
        if any(name in names for name in one.into)
    ]


def _differing(known: Mapping[Any, Any], values: Mapping[str, Any]) -> list[str]:
    return [name for name in values if not _same(known[name], values[name])]


def _same(old: object, new: object) -> bool:
    if isinstance(old, float) and isinstance(new, float):
        return math.isclose(old, new, rel_tol=1e-9)
    return old == new


def _told(value: object) -> str:
    if value is None:
        return ""
    return value.isoformat() if isinstance(value, datetime) else f"{value}"
