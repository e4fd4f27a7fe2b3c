"""Concessions: overdue items that were let out for one job, by whom, why and until when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, or_, select
from sqlalchemy.orm import aliased

from fleet.lists.rows import lines
from fleet.records import ConcessionRow, ItemRow, JobRow, ModelRow, PersonRow, TaskRow

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine

# A weekly reader sees every concession once, even one that began and ended between two letters.
LOOK_BACK = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class ConcessionLine:
    """One concession in its window [starts_at, ends_at)."""

    tag: str
    kind: str
    model: str
    serial: str
    task: str
    job: str
    asked_by: str
    granted_by: str
    reason_code: str
    reason: str
    starts_at: datetime
    ends_at: datetime

    def in_force(self, now: datetime) -> bool:
        """Whether it lets the item out at this instant."""
        return self.starts_at <= now < self.ends_at


_ASKER, _GRANTER = aliased(PersonRow), aliased(PersonRow)
_LINES = (
    select(
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.serial,
        TaskRow.name.label("task"),
        JobRow.code,
        _ASKER.name.label("asked_by"),
        _GRANTER.name.label("granted_by"),
        ConcessionRow.reason_code,
        ConcessionRow.reason,
        ConcessionRow.starts_at,
        ConcessionRow.ends_at,
    )
    .join(ItemRow, ItemRow.id == ConcessionRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(TaskRow, TaskRow.id == ConcessionRow.task_id)
    .join(JobRow, JobRow.id == ConcessionRow.job_id)
    .join(_ASKER, _ASKER.id == ConcessionRow.asked_by_id)
    .join(_GRANTER, _GRANTER.id == ConcessionRow.granted_by_id)
    .where(ItemRow.site_id == bindparam("site"))
    .order_by(ConcessionRow.ends_at.desc(), ItemRow.tag, ConcessionRow.id)
)
_BEGAN = ConcessionRow.starts_at > bindparam("since", type_=ConcessionRow.starts_at.type)
_CONCESSIONS = _LINES.where(
    or_(ConcessionRow.ends_at > bindparam("now", type_=ConcessionRow.ends_at.type), _BEGAN)
)
_SINCE = _LINES.where(_BEGAN)


def concessions(db: Connection, site: SiteLine, *, now: datetime) -> list[ConcessionLine]:
    """Concessions at the site that are in force or began in the last seven days, the latest to end first."""
    asked = {"site": site.id, "now": now, "since": now - LOOK_BACK}
    return lines(ConcessionLine, db.execute(_CONCESSIONS, asked))


def concessions_since(db: Connection, site: SiteLine, *, since: datetime) -> list[ConcessionLine]:
    """Every concession at the site that began after an instant, the latest to end first."""
    return lines(ConcessionLine, db.execute(_SINCE, {"site": site.id, "since": since}))
