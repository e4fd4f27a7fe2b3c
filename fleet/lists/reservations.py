"""What is kept for which job."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import Text, bindparam, or_, select

from fleet.lists.rows import lines
from fleet.records import ItemRow, JobRow, JointRow, ModelRow, PersonRow, ReservationRow, SiteRow

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class ReservationLine:
    """One live reservation in its window [starts_at, ends_at)."""

    tag: str
    kind: str
    model: str
    site: str
    time_zone: str
    job: str
    joint: str | None
    starts_at: datetime
    ends_at: datetime
    reserved_by: str


_LIVE = (
    select(
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        SiteRow.code,
        SiteRow.time_zone,
        JobRow.code,
        JointRow.mark,
        ReservationRow.starts_at,
        ReservationRow.ends_at,
        PersonRow.name,
    )
    .join(ItemRow, ItemRow.id == ReservationRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .join(JobRow, JobRow.id == ReservationRow.job_id)
    .outerjoin(JointRow, JointRow.id == ReservationRow.joint_id)
    .join(PersonRow, PersonRow.id == ReservationRow.reserved_by_id)
    .where(
        ReservationRow.ended_at.is_(None),
        ReservationRow.ends_at > bindparam("since", type_=ReservationRow.ends_at.type),
        or_(bindparam("site", type_=Text()).is_(None), SiteRow.code == bindparam("site")),
        or_(bindparam("job", type_=Text()).is_(None), JobRow.code == bindparam("job")),
    )
    .order_by(ReservationRow.starts_at, JobRow.code, JointRow.mark, ModelRow.kind, ItemRow.tag)
)


def reservations(
    db: Connection, *, since: datetime, site: str | None = None, job: str | None = None
) -> list[ReservationLine]:
    """Live reservations whose window has not ended, by start."""
    return lines(ReservationLine, db.execute(_LIVE, {"since": since, "site": site, "job": job}))
