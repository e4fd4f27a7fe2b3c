"""Jobs and their joints."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import Text, bindparam, func, or_, select

from fleet.lists.rows import lines
from fleet.records import JobRow, JointRow, SiteRow
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class JobLine:
    """A job in its window [starts_at, ends_at), with how many joints it has."""

    id: int
    code: str
    name: str
    site: str
    time_zone: str
    starts_at: datetime
    ends_at: datetime
    crews: int | None
    joints: int


@dataclass(frozen=True, slots=True)
class JointLine:
    """A joint as planned. Torque in N·m, lengths in mm, weight in kg; an empty limit lets anything in."""

    id: int
    job: str
    mark: str
    bolts: int
    thread: str | None
    nut_series: str | None
    across_flats_mm: float | None
    torque_written: str
    torque_nm: float
    tolerance_percent: float | None
    loosening_factor: float | None
    loosening_reason: str | None
    planned_cycles: int | None
    planned_minutes: int | None
    turn_degrees: float | None
    duration_minutes: int | None
    wrenches_at_once: int | None
    head: str | None
    drive_written: str | None
    drive_mm: float | None
    widest_written: str | None
    widest_mm: float | None
    highest_written: str | None
    highest_mm: float | None
    heaviest_written: str | None
    heaviest_kg: float | None


_JOBS = (
    select(
        JobRow.id,
        JobRow.code,
        JobRow.name,
        SiteRow.code.label("site"),
        SiteRow.time_zone,
        JobRow.starts_at,
        JobRow.ends_at,
        JobRow.crews,
        select(func.count()).where(JointRow.job_id == JobRow.id).scalar_subquery().label("joints"),
    )
    .join(SiteRow, SiteRow.id == JobRow.site_id)
    .order_by(JobRow.starts_at, JobRow.code)
)
_ONE = _JOBS.where(func.lower(JobRow.code) == func.lower(bindparam("asked")))
_MANY = _JOBS.where(
    or_(bindparam("of_site", type_=Text()).is_(None), SiteRow.code == bindparam("of_site")),
    JobRow.ends_at > bindparam("since", type_=JobRow.ends_at.type),
)
_JOINTS = (
    select(
        JointRow.id,
        JobRow.code,
        JointRow.mark,
        JointRow.bolts,
        JointRow.thread,
        JointRow.nut_series,
        JointRow.across_flats_mm,
        JointRow.torque_written,
        JointRow.torque_nm,
        JointRow.tolerance_percent,
        JointRow.loosening_factor,
        JointRow.loosening_reason,
        JointRow.planned_cycles,
        JointRow.planned_minutes,
        JointRow.turn_degrees,
        JointRow.duration_minutes,
        JointRow.wrenches_at_once,
        JointRow.head,
        JointRow.drive_written,
        JointRow.drive_mm,
        JointRow.widest_written,
        JointRow.widest_mm,
        JointRow.highest_written,
        JointRow.highest_mm,
        JointRow.heaviest_written,
        JointRow.heaviest_kg,
    )
    .join(JobRow, JobRow.id == JointRow.job_id)
    .where(JointRow.job_id == bindparam("job"))
    .order_by(JointRow.mark)
)


def jobs(db: Connection, *, site: str | None, since: datetime) -> list[JobLine]:
    """Jobs that end after ``since``, by start."""
    return lines(JobLine, db.execute(_MANY, {"of_site": site, "since": since}))


def find_job(db: Connection, asked: str) -> JobLine:
    """One job by its code, whatever its case."""
    row = db.execute(_ONE, {"asked": asked.strip()}).first()
    if row is None:
        raise NotFound(f"There is no job {asked.strip()!r}. See: fleet jobs")
    return JobLine(*row)


def joints(db: Connection, job: JobLine) -> list[JointLine]:
    """The joints of a job, by mark."""
    return lines(JointLine, db.execute(_JOINTS, {"job": job.id}))


def find_joint(db: Connection, job: JobLine, mark: str) -> JointLine:
    """One joint of a job by its mark, whatever its case."""
    known = joints(db, job)
    for joint in known:
        if joint.mark.casefold() == mark.strip().casefold():
            return joint
    marks = ", ".join(joint.mark for joint in known) or "none"
    raise NotFound(f"{job.code} has no joint {mark.strip()!r}. Its joints: {marks}.")
