"""What nuts were measured to take when they broke loose, by joint, over all jobs of a site."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import Text, bindparam, func, or_, select
from sqlalchemy.orm import aliased

from fleet.lists.rows import lines
from fleet.records import BreakoutRow, ItemRow, JobRow, JointRow, PersonRow, SiteRow
from fleet.refusals import NotFound
from fleet.rules.breakouts import Spread, sum_up

if TYPE_CHECKING:
    from datetime import date

    from sqlalchemy.engine import Connection

    from fleet.lists.jobs import JobLine


@dataclass(frozen=True, slots=True)
class BreakoutLine:
    """One entry. Torque in N·m, pressure in MPa; ``withdrawn_by`` is the entry that took it back.

    An entry that ``withdraws`` another counts for nothing itself.
    """

    entry: int
    site: str
    joint: str
    job: str
    joint_id: int
    target_nm: float
    measured_on: date
    tag: str | None
    item_id: int | None
    torque_written: str
    torque_nm: float
    pressure_written: str | None
    pressure_mpa: float | None
    note: str | None
    by: str | None
    withdraws: int | None
    withdrawn_by: int | None
    reason: str | None

    @property
    def counts(self) -> bool:
        """Whether it stands."""
        return self.withdraws is None and self.withdrawn_by is None


_LATER = aliased(BreakoutRow)
_BREAKOUTS = (
    select(
        BreakoutRow.id,
        SiteRow.code.label("site"),
        JointRow.mark,
        JobRow.code.label("job"),
        BreakoutRow.joint_id,
        JointRow.torque_nm.label("target_nm"),
        BreakoutRow.measured_on,
        ItemRow.tag,
        BreakoutRow.item_id,
        BreakoutRow.torque_written,
        BreakoutRow.torque_nm,
        BreakoutRow.pressure_written,
        BreakoutRow.pressure_mpa,
        BreakoutRow.note,
        PersonRow.name,
        BreakoutRow.withdraws_id,
        _LATER.id.label("withdrawn_by"),
        func.coalesce(BreakoutRow.reason, _LATER.reason),
    )
    .join(JointRow, JointRow.id == BreakoutRow.joint_id)
    .join(JobRow, JobRow.id == JointRow.job_id)
    .join(SiteRow, SiteRow.id == JobRow.site_id)
    .outerjoin(ItemRow, ItemRow.id == BreakoutRow.item_id)
    .outerjoin(PersonRow, PersonRow.id == BreakoutRow.by_id)
    .outerjoin(_LATER, _LATER.withdraws_id == BreakoutRow.id)
    .order_by(SiteRow.code, func.lower(JointRow.mark), BreakoutRow.measured_on, BreakoutRow.id)
)
_MANY = _BREAKOUTS.where(
    or_(bindparam("of_site", type_=Text()).is_(None), SiteRow.code == bindparam("of_site")),
    or_(
        bindparam("of_mark", type_=Text()).is_(None),
        func.lower(JointRow.mark) == func.lower(bindparam("of_mark", type_=Text())),
    ),
)
_ONE = _BREAKOUTS.where(BreakoutRow.id == bindparam("entry"))
_ITS = aliased(JointRow)
_OF_JOB = _BREAKOUTS.where(
    SiteRow.code == bindparam("of_site"),
    func.lower(JointRow.mark).in_(select(func.lower(_ITS.mark)).where(_ITS.job_id == bindparam("job"))),
)


def breakouts(db: Connection, *, site: str | None = None, mark: str | None = None) -> list[BreakoutLine]:
    """Every entry, withdrawn ones too, by site, joint and day; only of one site or joint when asked."""
    return lines(BreakoutLine, db.execute(_MANY, {"of_site": site, "of_mark": mark and mark.strip()}))


def find_breakout(db: Connection, entry: int) -> BreakoutLine:
    """One entry by its number."""
    row = db.execute(_ONE, {"entry": entry}).first()
    if row is None:
        raise NotFound(f"There is no breakout {entry}. See: fleet breakout list")
    return lines(BreakoutLine, [row])[0]


def measured_before(db: Connection, site: str, mark: str) -> Spread | None:
    """What stands of a joint at a site, summed up: the same mark is the same joint in every job."""
    return sum_up([line.torque_nm for line in breakouts(db, site=site, mark=mark) if line.counts])


def breakouts_of(db: Connection, job: JobLine) -> list[BreakoutLine]:
    """Every entry at the joints of a job, in whatever job it was measured, by joint and day."""
    return lines(BreakoutLine, db.execute(_OF_JOB, {"of_site": job.site, "job": job.id}))


def measured_of(db: Connection, job: JobLine) -> dict[str, Spread]:
    """What stands of each joint of a job that was ever measured, by its mark in one case."""
    torques: dict[str, list[float]] = defaultdict(list)
    for line in breakouts_of(db, job):
        if line.counts:
            torques[line.joint.casefold()].append(line.torque_nm)
    return {mark: spread for mark, met in torques.items() if (spread := sum_up(met))}
