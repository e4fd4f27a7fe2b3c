"""Absences and deputies: somebody else reads the letters, and no role is lost by it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select, update

from fleet.ledgers import daybook
from fleet.lists.deputies import colleagues, find_colleague, standing_deputies
from fleet.lists.sites import sites
from fleet.records import AbsenceRow, PersonRow
from fleet.records.base import rows_of
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.deputies import Days, check_days, check_deputy
from fleet.rules.people import SETTING_UP
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow
    from fleet.rules.deputies import Colleague
    from fleet.rules.people import Actor

_ABSENCES, _PEOPLE = rows_of(AbsenceRow), rows_of(PersonRow)
_ADD = insert(_ABSENCES).returning(_ABSENCES.c.id)
# Two absences of one person entered at once: the second waits here and then finds the first.
_LOCK = select(PersonRow.id).where(PersonRow.id == bindparam("person")).with_for_update()
_OPEN = (
    select(AbsenceRow.id, AbsenceRow.deputy_id, AbsenceRow.from_day, AbsenceRow.through_day)
    .where(
        AbsenceRow.person_id == bindparam("person"),
        AbsenceRow.ended_at.is_(None),
        AbsenceRow.through_day >= bindparam("today", type_=AbsenceRow.through_day.type),
    )
    .order_by(AbsenceRow.from_day)
)
_END = (
    update(_ABSENCES)
    .where(_ABSENCES.c.id == bindparam("absence"))
    .values(ended_at=bindparam("now"), ended_by_id=bindparam("by"))
)
_SET = update(_PEOPLE).where(_PEOPLE.c.id == bindparam("person")).values(deputy_id=bindparam("deputy"))
_GIVERS = (Role.KEEPER, Role.SAFETY)


@dataclass(frozen=True, slots=True)
class AbsenceSlip:
    """Who is away from which day through which, and who is told instead; else the standing deputy."""

    person: str
    from_day: date
    through_day: date
    deputy: str | None = None


@dataclass(frozen=True, slots=True)
class Absence:
    """An absence as it stands on record."""

    number: int
    badge: str
    person: str
    deputy_badge: str
    deputy: str
    from_day: date
    through_day: date


@dataclass(frozen=True, slots=True)
class Deputy:
    """Who stands in for whom from now on; nobody, when there is no deputy any more."""

    badge: str
    person: str
    deputy_badge: str | None
    deputy: str | None


def set_absence(db: Connection, slip: AbsenceSlip, *, by: Actor, now: datetime) -> Absence:
    """Let somebody else be told while a person is away."""
    person = _person(db, slip.person, by)
    today = _today(db, person, now)
    deputy = _deputy(db, person, slip.deputy)
    days = Days(slip.from_day, slip.through_day)
    db.execute(_LOCK, {"person": person.id})
    known = [Days(row.from_day, row.through_day) for row in _open(db, person, today)]
    check_days(days, known, person.name, today)
    check_deputy(person, deputy)
    row = {
        "person_id": person.id,
        "deputy_id": deputy.id,
        "from_day": days.first,
        "through_day": days.last,
        "set_at": now,
        "set_by_id": by.id,
    }
    number = int(db.execute(_ADD, row).scalar_one())
    body = {"absence": number, "from": str(days.first), "through": str(days.last), "deputy": deputy.badge}
    _enter(db, person, "absence set", body, by=by, now=now)
    return Absence(number, person.badge, person.name, deputy.badge, deputy.name, days.first, days.last)


def end_absence(
    db: Connection, asked: str, *, by: Actor, now: datetime, from_day: date | None = None
) -> Absence:
    """End an absence early: from now on the person is told again. ``from_day`` says which of several."""
    person = _person(db, asked, by)
    today = _today(db, person, now)
    db.execute(_LOCK, {"person": person.id})
    row = _chosen(person, _open(db, person, today), from_day, today)
    db.execute(_END, {"absence": row.id, "now": now, "by": by.id})
    deputy = colleagues(db, [row.deputy_id])[row.deputy_id]
    body = {"absence": row.id, "from": str(row.from_day), "through": str(row.through_day)}
    _enter(db, person, "absence ended", body, by=by, now=now)
    return Absence(
        row.id, person.badge, person.name, deputy.badge, deputy.name, row.from_day, row.through_day
    )


def set_deputy(db: Connection, asked: str, deputy: str | None, *, by: Actor, now: datetime) -> Deputy:
    """Name the person who stands in for another from now on, or nobody."""
    person = _person(db, asked, by)
    found = find_colleague(db, deputy) if deputy else None
    if found:
        check_deputy(person, found)
    db.execute(_SET, {"person": person.id, "deputy": found.id if found else None})
    _enter(db, person, "deputy set", {"deputy": found.badge if found else None}, by=by, now=now)
    named = (found.badge, found.name) if found else (None, None)
    return Deputy(person.badge, person.name, *named)


def _person(db: Connection, asked: str, by: Actor) -> Colleague:
    """The person it is about, if whoever is acting may speak for them."""
    person = find_colleague(db, asked)
    if not person.active:
        raise NotPossible(f"{person.name} is no longer active and gets no letters.")
    if not person.sites:
        raise NotPossible(f"{person.name} has no role at any site and gets no letters, so needs no deputy.")
    places = {site for site, _ in person.sites}
    if (
        by is SETTING_UP
        or by.id == person.id
        or any(site in places and role in _GIVERS for site, role in by.roles)
    ):
        return person
    where = " or ".join(code for _, code in person.sites)
    raise NotAllowed(
        f"{by.name} is neither {person.name} nor a keeper or safety officer at {where}; one of these must "
        "say so."
    )


def _today(db: Connection, person: Colleague, now: datetime) -> date:
    """Today at the person's sites; where it is not the same day everywhere, the earlier one."""
    places = {site for site, _ in person.sites}
    return min(site.today(now) for site in sites(db) if site.id in places)


def _deputy(db: Connection, person: Colleague, asked: str | None) -> Colleague:
    if asked:
        return find_colleague(db, asked)
    standing = standing_deputies(db).get(person.id)
    if standing is None:
        raise NotPossible(
            f"{person.name} has no standing deputy; say who is told instead with --deputy BADGE, or name "
            f"one for good with: fleet deputy set {person.badge} DEPUTY"
        )
    return colleagues(db, [standing])[standing]


def _open(db: Connection, person: Colleague, today: date) -> list[AnyRow]:
    return list(db.execute(_OPEN, {"person": person.id, "today": today}))


def _chosen(person: Colleague, found: list[AnyRow], from_day: date | None, today: date) -> AnyRow:
    """The absence that is meant: the one asked for, that of today, or the only one to come."""
    days = ", ".join(f"from {row.from_day} through {row.through_day}" for row in found)
    if not found:
        raise NotPossible(f"{person.name} is not away, and no absence is to come.")
    if from_day is not None:
        for row in found:
            if row.from_day == from_day:
                return row
        raise NotFound(f"No absence of {person.name} begins on {from_day}; known: {days}.")
    if len(found) == 1 or found[0].from_day <= today:
        return found[0]
    raise NotPossible(f"{person.name} will be away {days}; say which ends with --from DAY.")


def _enter(
    db: Connection, person: Colleague, act: str, body: Mapping[str, object], *, by: Actor, now: datetime
) -> None:
    """In the day book of every site where the person has a role."""
    # Always in the same order, or two acts could wait for each other's day books.
    for site, _ in sorted(person.sites):
        daybook.enter(db, site, by=by, now=now, act=act, about=person.badge, body=body)
