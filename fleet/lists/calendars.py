"""What goes into a calendar file: what falls due, the windows of jobs, and what is kept for them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import Integer, bindparam, func, or_, select

from fleet.lists.rows import lines
from fleet.measures.times import local_day, start_of_day, zone
from fleet.records import (
    DueLineRow,
    EntryRow,
    ItemRow,
    JobRow,
    JointRow,
    ModelRow,
    ReservationRow,
    SiteRow,
    TaskRow,
)
from fleet.rules.daybook import ROOM_CHAIN

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.jobs import JobLine
    from fleet.lists.sites import SiteLine

KEPT_DAYS = 60
"""How long what is past or was given up stays in a calendar, so that every copy hears of it."""
AHEAD_DAYS = 366
"""How far ahead due days are written."""


@dataclass(frozen=True, slots=True)
class Revision:
    """How often something was revised, and when last: the day book's entries about it."""

    count: int
    at: datetime


@dataclass(frozen=True, slots=True)
class DueEntry:
    """One task of one item falls due. ``use`` says that its meter is likely to run out first."""

    task_id: int
    task: str
    tag: str
    kind: str
    model: str
    serial: str
    on: date
    use: bool
    revised: Revision


@dataclass(frozen=True, slots=True)
class JobEntry:
    """The window [starts_at, ends_at) of a job."""

    code: str
    name: str
    time_zone: str
    starts_at: datetime
    ends_at: datetime
    joints: int
    revised: Revision


@dataclass(frozen=True, slots=True)
class KeptEntry:
    """An item kept for a job in a window [starts_at, ends_at); ``ended_at`` when it was given up before."""

    client_id: str
    tag: str
    kind: str
    model: str
    job: str
    job_name: str
    joint: str | None
    any_of: str | None
    time_zone: str
    starts_at: datetime
    ends_at: datetime
    reserved_at: datetime
    ended_at: datetime | None

    @property
    def given_up(self) -> bool:
        """Whether it ended before its window did."""
        return self.ended_at is not None and self.ended_at < self.ends_at


@dataclass(frozen=True, slots=True)
class CalendarFacts:
    """All that goes into one calendar."""

    site: str
    title: str
    dues: tuple[DueEntry, ...]
    jobs: tuple[JobEntry, ...]
    kept: tuple[KeptEntry, ...]


_INSTANT = ReservationRow.starts_at.type
_SITE = bindparam("site", type_=Integer())
_JOB = bindparam("job", type_=Integer())
_SINCE = bindparam("since", type_=_INSTANT)
_KEPT_FOR_JOB = (
    select(ReservationRow.id)
    .where(
        ReservationRow.job_id == _JOB,
        ReservationRow.item_id == ItemRow.id,
        ReservationRow.ended_at.is_(None),
    )
    .exists()
)
_DUES = (
    select(
        TaskRow.id,
        TaskRow.name,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.serial,
        DueLineRow.first_on,
        DueLineRow.due_on,
        ItemRow.received_on,
    )
    .select_from(DueLineRow)
    .join(ItemRow, ItemRow.id == DueLineRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(TaskRow, TaskRow.id == DueLineRow.task_id)
    .where(
        DueLineRow.site_id == _SITE,
        DueLineRow.first_on <= bindparam("until", type_=DueLineRow.first_on.type),
        ItemRow.retired_on.is_(None),
        or_(_JOB.is_(None), _KEPT_FOR_JOB),
    )
    .order_by(DueLineRow.first_on, ItemRow.tag, TaskRow.name)
)
_JOBS = (
    select(
        JobRow.code,
        JobRow.name,
        SiteRow.time_zone,
        JobRow.starts_at,
        JobRow.ends_at,
        select(func.count()).where(JointRow.job_id == JobRow.id).scalar_subquery().label("joints"),
    )
    .join(SiteRow, SiteRow.id == JobRow.site_id)
    .where(JobRow.site_id == _SITE, or_(JobRow.id == _JOB, _JOB.is_(None) & (JobRow.ends_at > _SINCE)))
    .order_by(JobRow.starts_at, JobRow.code)
)
_KEPT = (
    select(
        ReservationRow.client_id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        JobRow.code,
        JobRow.name,
        JointRow.mark,
        ReservationRow.any_of,
        SiteRow.time_zone,
        ReservationRow.starts_at,
        ReservationRow.ends_at,
        ReservationRow.reserved_at,
        ReservationRow.ended_at,
    )
    .join(ItemRow, ItemRow.id == ReservationRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(JobRow, JobRow.id == ReservationRow.job_id)
    .join(SiteRow, SiteRow.id == JobRow.site_id)
    .outerjoin(JointRow, JointRow.id == ReservationRow.joint_id)
    .where(
        JobRow.site_id == _SITE,
        or_(_JOB.is_(None), JobRow.id == _JOB),
        ReservationRow.ends_at > _SINCE,
        or_(ReservationRow.ended_at.is_(None), ReservationRow.ended_at > _SINCE),
    )
    .order_by(ReservationRow.starts_at, JobRow.code, ItemRow.tag, ReservationRow.id)
)
_REVISED = select(EntryRow.about, func.count(), func.max(EntryRow.recorded_at)).where(EntryRow.chain == _SITE)
_REVISED_ITEMS = (
    _REVISED.join(ItemRow, ItemRow.tag == EntryRow.about)
    .where(ItemRow.site_id == _SITE)
    .group_by(EntryRow.about)
)
_REVISED_JOBS = (
    _REVISED.join(JobRow, JobRow.code == EntryRow.about)
    .where(JobRow.site_id == _SITE)
    .group_by(EntryRow.about)
)
# What is imported is entered by the file, not by what stands in it.
_IMPORTED = select(func.count(), func.max(EntryRow.recorded_at)).where(
    EntryRow.chain.in_((ROOM_CHAIN, _SITE)), EntryRow.act == "imported"
)


def site_calendar(db: Connection, site: SiteLine, *, now: datetime) -> CalendarFacts:
    """Everything overdue or due within a year at the site, and its jobs with what is kept for them."""
    until = site.today(now) + timedelta(days=AHEAD_DAYS)
    return _facts(db, site, None, site.name, until, now - timedelta(days=KEPT_DAYS))


def letter_calendar(db: Connection, site: SiteLine, *, until: date, now: datetime) -> CalendarFacts:
    """What falls due at the site through a day, and the jobs that begin by then."""
    found = _facts(db, site, None, site.name, until, now)
    end = start_of_day(until + timedelta(days=1), zone(site.time_zone))
    return replace(found, jobs=tuple(job for job in found.jobs if job.starts_at < end), kept=())


def job_calendar(db: Connection, site: SiteLine, job: JobLine, *, now: datetime) -> CalendarFacts:
    """One job with what is kept for it, and what of that falls due by its last day."""
    until = local_day(job.ends_at - timedelta(microseconds=1), zone(job.time_zone))
    return _facts(db, site, job.id, f"{job.code}, {job.name}", until, now - timedelta(days=KEPT_DAYS))


def _facts(
    db: Connection, site: SiteLine, job: int | None, title: str, until: date, since: datetime
) -> CalendarFacts:
    asked = {"site": site.id, "job": job, "until": until, "since": since}
    there = zone(site.time_zone)
    revised = _Revisions(db, site.id)
    dues = [
        DueEntry(
            row.id,
            row.name,
            row.tag,
            row.kind,
            row.designation,
            row.serial,
            row.first_on,
            row.first_on != row.due_on,
            revised.of(row.tag, start_of_day(row.received_on, there)),
        )
        for row in db.execute(_DUES, asked)
    ]
    jobs = [
        JobEntry(
            row.code,
            row.name,
            row.time_zone,
            row.starts_at,
            row.ends_at,
            row.joints,
            revised.of(row.code, row.starts_at),
        )
        for row in db.execute(_JOBS, asked)
    ]
    kept = lines(KeptEntry, db.execute(_KEPT, asked))
    return CalendarFacts(site.code, title, tuple(dues), tuple(jobs), tuple(kept))


class _Revisions:
    """What the day book says about items and jobs of a site; both count up only."""

    def __init__(self, db: Connection, site: int) -> None:
        asked = {"site": site}
        self._imported = db.execute(_IMPORTED, asked).one()
        self._about = {
            about: (count, at)
            for statement in (_REVISED_ITEMS, _REVISED_JOBS)
            for about, count, at in db.execute(statement, asked)
        }

    def of(self, about: str, otherwise: datetime) -> Revision:
        """The revision of one thing; ``otherwise`` is when it began, for what no entry is about."""
        count, at = self._about.get(about, (0, None))
        imports, imported_at = self._imported
        return Revision(count + imports, max((one for one in (at, imported_at) if one), default=otherwise))
