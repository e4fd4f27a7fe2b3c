"""Who may inspect and test what, and until when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import Text, bindparam, or_, select
from sqlalchemy.orm import aliased

from fleet.lists.rows import lines
from fleet.lists.sites import sites
from fleet.records import CompetenceRow, PersonRow, TaskRow
from fleet.rules.competence import Held, standing

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class CompetenceLine:
    """One competence; ``state`` is current, ends soon, expired or ended. ``granted_by`` may be unknown."""

    id: int
    badge: str
    person: str
    kind: str
    task: str
    expires_on: date
    evidence: str
    granted_at: datetime
    granted_by: str | None
    ended_at: datetime | None
    end_reason: str | None
    state: str


_GRANTER = aliased(PersonRow)
_ALL = (
    select(
        CompetenceRow.id,
        PersonRow.badge,
        PersonRow.name,
        CompetenceRow.kind,
        CompetenceRow.task,
        CompetenceRow.expires_on,
        CompetenceRow.evidence,
        CompetenceRow.granted_at,
        _GRANTER.name.label("granted_by"),
        CompetenceRow.ended_at,
        CompetenceRow.end_reason,
    )
    .join(PersonRow, PersonRow.id == CompetenceRow.person_id)
    .outerjoin(_GRANTER, _GRANTER.id == CompetenceRow.granted_by_id)
    .where(
        or_(bindparam("badge", type_=Text()).is_(None), PersonRow.badge == bindparam("badge")),
        or_(bindparam("kind", type_=Text()).is_(None), CompetenceRow.kind == bindparam("kind")),
        or_(bindparam("ended"), CompetenceRow.ended_at.is_(None)),
    )
    .order_by(CompetenceRow.expires_on, PersonRow.name, CompetenceRow.kind, CompetenceRow.task)
)
_HELD = (
    select(
        CompetenceRow.person_id,
        PersonRow.name,
        CompetenceRow.task,
        CompetenceRow.expires_on,
        PersonRow.active,
    )
    .join(PersonRow, PersonRow.id == CompetenceRow.person_id)
    .where(CompetenceRow.kind == bindparam("kind"), CompetenceRow.ended_at.is_(None))
)
_TASKS = select(TaskRow.name).where(TaskRow.kind == bindparam("kind")).distinct().order_by(TaskRow.name)


def competences(
    db: Connection,
    *,
    now: datetime,
    badge: str | None = None,
    kind: str | None = None,
    ended: bool = False,
) -> list[CompetenceLine]:
    """Every competence, the one that ends first on top; those that were ended only when asked for."""
    today = first_today(db, now)
    return [
        CompetenceLine(*row, standing(row.expires_on, ended=row.ended_at is not None, today=today))
        for row in db.execute(_ALL, {"badge": badge, "kind": kind, "ended": ended})
    ]


def held_for(db: Connection, kind: str) -> list[Held]:
    """Every competence for a kind that nobody has ended; expired ones among them."""
    return lines(Held, db.execute(_HELD, {"kind": kind}))


def task_names(db: Connection, kind: str) -> list[str]:
    """The names of the upkeep tasks of a kind, those of single models among them."""
    return list(db.execute(_TASKS, {"kind": kind}).scalars())


def first_today(db: Connection, now: datetime) -> date:
    """Today where the day began last; a competence belongs to no site, and no site may lose a day of it."""
    return min((site.today(now) for site in sites(db)), default=now.date())
