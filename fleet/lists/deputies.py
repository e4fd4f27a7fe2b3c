"""Deputies and absences: who is told instead of whom."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import Boolean, bindparam, or_, select
from sqlalchemy.orm import aliased

from fleet.lists.competence import first_today
from fleet.lists.people import find_person
from fleet.lists.rows import lines
from fleet.records import AbsenceRow, PersonRow, RoleRow, SiteRow
from fleet.rules.deputies import Colleague, lacking, told_instead

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, datetime

    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class AbsenceLine:
    """Days on which ``person`` is away and ``deputy`` is told instead."""

    id: int
    badge: str
    person: str
    deputy_badge: str
    deputy: str
    from_day: date
    through_day: date
    set_at: datetime
    set_by: str | None
    ended_at: datetime | None
    ended_by: str | None


@dataclass(frozen=True, slots=True)
class DeputyLine:
    """A standing deputy. ``trouble``: why letters cannot be passed on to them, in words after their name."""

    badge: str
    person: str
    deputy_badge: str
    deputy: str
    trouble: str | None


_DEPUTY, _SETTER, _ENDER = aliased(PersonRow), aliased(PersonRow), aliased(PersonRow)
_ABSENCES = (
    select(
        AbsenceRow.id,
        PersonRow.badge,
        PersonRow.name,
        _DEPUTY.badge,
        _DEPUTY.name,
        AbsenceRow.from_day,
        AbsenceRow.through_day,
        AbsenceRow.set_at,
        _SETTER.name,
        AbsenceRow.ended_at,
        _ENDER.name,
    )
    .join(PersonRow, PersonRow.id == AbsenceRow.person_id)
    .join(_DEPUTY, _DEPUTY.id == AbsenceRow.deputy_id)
    .outerjoin(_SETTER, _SETTER.id == AbsenceRow.set_by_id)
    .outerjoin(_ENDER, _ENDER.id == AbsenceRow.ended_by_id)
    .order_by(AbsenceRow.from_day, PersonRow.name, AbsenceRow.id)
)
_OPEN = _ABSENCES.where(
    AbsenceRow.ended_at.is_(None),
    AbsenceRow.through_day >= bindparam("today", type_=AbsenceRow.from_day.type),
)
_DAY = bindparam("day", type_=AbsenceRow.from_day.type)
_AWAY = (
    select(AbsenceRow.person_id, AbsenceRow.deputy_id)
    .where(AbsenceRow.ended_at.is_(None), AbsenceRow.from_day <= _DAY, AbsenceRow.through_day >= _DAY)
    .order_by(AbsenceRow.id)
)
_STANDING = select(PersonRow.id, PersonRow.deputy_id).where(PersonRow.deputy_id.is_not(None))
_COLLEAGUES = (
    select(
        PersonRow.id,
        PersonRow.badge,
        PersonRow.name,
        PersonRow.address,
        PersonRow.active,
        SiteRow.id.label("site_id"),
        SiteRow.code,
    )
    .outerjoin(RoleRow, RoleRow.person_id == PersonRow.id)
    .outerjoin(SiteRow, SiteRow.id == RoleRow.site_id)
    .where(or_(bindparam("every", type_=Boolean()), PersonRow.id.in_(bindparam("ids", expanding=True))))
    .order_by(PersonRow.name, PersonRow.id, SiteRow.code)
    .distinct()
)


def instead_of(db: Connection, day: date) -> dict[int, int]:
    """Person to the person who is told instead on a civil day, absent deputies followed to the end.

    Whoever is not in it gets their letters themselves, also when nobody who can be reached stands in.
    """
    away = {row.person_id: row.deputy_id for row in db.execute(_AWAY, {"day": day})}
    ends = colleagues(db, away.values()) if away else {}
    return told_instead(away, {one.id for one in ends.values() if one.reachable})


def standing_deputies(db: Connection) -> dict[int, int]:
    """Person to their standing deputy, whether or not that one can be reached."""
    return {row.id: row.deputy_id for row in db.execute(_STANDING)}


def colleagues(db: Connection, ids: Iterable[int] | None = None) -> dict[int, Colleague]:
    """These people, or all of them, with the sites where they have a role; by name."""
    found: dict[int, Colleague] = {}
    for row in db.execute(_COLLEAGUES, {"every": ids is None, "ids": list(ids or ())}):
        before = found[row.id].sites if row.id in found else ()
        sites = before if row.site_id is None else (*before, (row.site_id, row.code))
        found[row.id] = Colleague(row.id, row.badge, row.name, row.address, row.active, sites)
    return found


def find_colleague(db: Connection, asked: str) -> Colleague:
    """One person by badge or name, with the sites where they have a role."""
    person = find_person(db, asked).id
    return colleagues(db, [person])[person]


def absences(db: Connection, *, now: datetime, every: bool = False) -> list[AbsenceLine]:
    """Absences of today and to come, the first on top; with ``every`` also what is over or was ended."""
    found = db.execute(_ABSENCES) if every else db.execute(_OPEN, {"today": first_today(db, now)})
    return lines(AbsenceLine, found)


def deputies(db: Connection) -> list[DeputyLine]:
    """Every standing deputy, by the name of whom they stand in for."""
    people, deputy_of = colleagues(db), standing_deputies(db)
    found = []
    for person in people.values():
        if person.id in deputy_of:
            deputy = people[deputy_of[person.id]]
            trouble = lacking(person, deputy)
            found.append(DeputyLine(person.badge, person.name, deputy.badge, deputy.name, trouble))
    return found
