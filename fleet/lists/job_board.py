"""The jobs of a site as a planner looks at them: how many of their joints are served, and what is kept."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, case, func, select

from fleet.lists.breakouts import measured_of
from fleet.lists.joint_facts import joint_facts
from fleet.lists.kit_sheets import kept_kit
from fleet.lists.kits import check_kit, window_of
from fleet.lists.reservations import reservations, reserved_for
from fleet.lists.rows import lines
from fleet.lists.weeks import WRENCHES_KEPT, WRENCHES_WANTED
from fleet.records import JobRow, JointRow, ReservationRow
from fleet.refusals import NotPossible, Refusal
from fleet.rules.breakouts import demand

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.bolting.figures import Units
    from fleet.bolting.loosening import Need
    from fleet.lists.jobs import JobLine, JointLine
    from fleet.lists.kits import KitCheck
    from fleet.lists.reservations import ReservationLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.breakouts import Spread


@dataclass(frozen=True, slots=True)
class JobCard:
    """One job in its window [starts_at, ends_at): its joints, those with their wrenches, and what is kept."""

    id: int
    code: str
    name: str
    starts_at: datetime
    ends_at: datetime
    crews: int | None
    joints: int
    served: int
    reserved: int

    @property
    def unserved(self) -> int:
        """Joints for which fewer wrenches are kept than they take."""
        return self.joints - self.served


_INSTANT = JobRow.ends_at.type
_NOW = bindparam("now", type_=_INSTANT)
_SERVED = (
    select(
        JointRow.job_id,
        func.count().label("joints"),
        func.sum(case((WRENCHES_KEPT >= WRENCHES_WANTED, 1), else_=0)).label("served"),
    )
    .join(JobRow, JobRow.id == JointRow.job_id)
    .where(JobRow.id.in_(bindparam("jobs", expanding=True)))
    .group_by(JointRow.job_id)
)
_RESERVED = (
    select(ReservationRow.job_id, func.count())
    .where(
        ReservationRow.job_id.in_(bindparam("jobs", expanding=True)),
        ReservationRow.ended_at.is_(None),
        ReservationRow.ends_at > _NOW,
    )
    .group_by(ReservationRow.job_id)
)
_PLAIN = select(JobRow.id, JobRow.code, JobRow.name, JobRow.starts_at, JobRow.ends_at, JobRow.crews).where(
    JobRow.site_id == bindparam("site")
)
_AHEAD = (
    _PLAIN.where(JobRow.ends_at > _NOW)
    .order_by(JobRow.starts_at, JobRow.code)
    .limit(bindparam("most"))
    .offset(bindparam("skip"))
)
_PAST = (
    _PLAIN.where(JobRow.ends_at <= _NOW)
    .order_by(JobRow.ends_at.desc(), JobRow.code)
    .limit(bindparam("most"))
    .offset(bindparam("skip"))
)


def job_cards(
    db: Connection, site: SiteLine, now: datetime, *, past: bool = False, skip: int = 0, most: int = 50
) -> list[JobCard]:
    """Jobs that run or are to come, by start; or those that are over, the newest first."""
    asked = {"site": site.id, "now": now, "most": most, "skip": skip}
    rows = db.execute(_PAST if past else _AHEAD, asked).all()
    given = {"jobs": [row.id for row in rows], "now": now}
    joints = {row.job_id: (row.joints, row.served) for row in db.execute(_SERVED, given)}
    kept = {row[0]: row[1] for row in db.execute(_RESERVED, given)}
    return [JobCard(*row, *joints.get(row.id, (0, 0)), kept.get(row.id, 0)) for row in rows]


@dataclass(frozen=True, slots=True)
class JointCard:
    """One joint: what it needs, what is kept for it, and whether that does.

    ``unplanned`` says why its need is not known, ``unchecked`` why what is kept could not be checked.
    """

    joint: JointLine
    measured: Spread | None
    need: Need | None
    unplanned: str | None
    kept: tuple[ReservationLine, ...]
    wrenches: int
    check: KitCheck | None
    unchecked: str | None

    @property
    def wanted(self) -> int:
        """How many wrenches it takes."""
        return self.joint.wrenches_at_once or 1

    @property
    def served(self) -> bool:
        """Whether as many wrenches are kept as it takes."""
        return self.wrenches >= self.wanted


_COUNTED = (
    select(JointRow.id, WRENCHES_KEPT.label("kept"))
    .join(JobRow, JobRow.id == JointRow.job_id)
    .where(JobRow.id == bindparam("job"))
)


def joint_cards(
    db: Connection, site: SiteLine, job: JobLine, some: Sequence[JointLine], units: Units, *, now: datetime
) -> list[JointCard]:
    """Some joints of a job, each with its need, its kit and the verdict on it."""
    measured = measured_of(db, job)
    wrenches = {row.id: row.kept for row in db.execute(_COUNTED, {"job": job.id})}
    kept: defaultdict[int | None, list[ReservationLine]] = defaultdict(list)
    for line in reservations(db, since=now, site=site.code, job=job.code):
        kept[line.joint_id].append(line)
    found = []
    for joint in some:
        before = measured.get(joint.mark.casefold())
        need, unplanned = _need(joint, before, units)
        own = tuple(kept[joint.id])
        check, unchecked = (None, None)
        if own and need:
            check, unchecked = _check(db, site, job, joint, before, now)
        found.append(JointCard(joint, before, need, unplanned, own, wrenches[joint.id], check, unchecked))
    return found


def _need(joint: JointLine, before: Spread | None, units: Units) -> tuple[Need | None, str | None]:
    try:
        facts = joint_facts(joint, before)
    except NotPossible as refusal:
        return None, str(refusal)
    plan = facts.target_torque_nm, facts.loosening_factor, facts.loosening_reason
    return demand(facts.mark, *plan, before, units)[0], None


def _check(  # What is checked, for which joint, and when.
    db: Connection, site: SiteLine, job: JobLine, joint: JointLine, before: Spread | None, now: datetime
) -> tuple[KitCheck | None, str | None]:
    """The kit kept for the joint, judged for the time for which it is kept."""
    try:
        ids = kept_kit(db, job, joint)
        window = window_of(job, site, reserved_for(db, ids, joint.id, now))
        return check_kit(db, ids, joint_facts(joint, before), window, now=now), None
    except Refusal as refusal:
        return None, str(refusal)


@dataclass(frozen=True, slots=True)
class JobChoice:
    """A job to choose from."""

    code: str
    name: str


_CHOICES = (
    select(JobRow.code, JobRow.name)
    .where(JobRow.site_id == bindparam("site"), JobRow.ends_at > _NOW)
    .order_by(JobRow.starts_at, JobRow.code)
    .limit(500)
)


def job_choices(db: Connection, site: SiteLine, now: datetime) -> list[JobChoice]:
    """The jobs of a site that run or are to come, to choose one from."""
    return lines(JobChoice, db.execute(_CHOICES, {"site": site.id, "now": now}))
