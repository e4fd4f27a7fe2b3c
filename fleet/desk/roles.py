"""Roles given and taken, administrators named, and people made inactive: all of it counts at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, delete, func, select, update
from sqlalchemy.dialects import postgresql, sqlite

from fleet.ledgers import daybook
from fleet.lists.people import find_person
from fleet.lists.sites import find_site
from fleet.records import LoanLineRow, LoanRow, PersonRow, RoleRow, SessionRow, TokenRow
from fleet.records.base import rows_of
from fleet.refusals import NotAllowed, NotPossible
from fleet.rules.daybook import ROOM_CHAIN
from fleet.rules.people import SETTING_UP
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role
from fleet.rules.roles import GIVERS, Held, check_giver, check_keeper_of_people

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.people import PersonLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.people import Actor

_PEOPLE, _ROLES = rows_of(PersonRow), rows_of(RoleRow)
_SESSIONS, _TOKENS = rows_of(SessionRow), rows_of(TokenRow)
_GIVE = {
    name: insert(_ROLES).on_conflict_do_nothing().returning(_ROLES.c.id)
    for name, insert in (("sqlite", sqlite.insert), ("postgresql", postgresql.insert))
}
_TAKE = delete(_ROLES).where(
    _ROLES.c.person_id == bindparam("person"),
    _ROLES.c.site_id == bindparam("site"),
    _ROLES.c.role == bindparam("what"),
)
_HELD = select(RoleRow.person_id, RoleRow.site_id, RoleRow.role)
# Two administrators who end each other: the second waits here, and then finds what the first one left.
_ADMINISTRATORS = (
    select(PersonRow.id)
    .where(
        PersonRow.administrator == bindparam("yes", value=True),
        PersonRow.active == bindparam("yes", value=True),
    )
    .order_by(PersonRow.id)
    .with_for_update()
)
_SET_ADMINISTRATOR = (
    update(_PEOPLE).where(_PEOPLE.c.id == bindparam("person")).values(administrator=bindparam("on"))
)
_SET_ACTIVE = update(_PEOPLE).where(_PEOPLE.c.id == bindparam("person")).values(active=bindparam("on"))
_END_SESSIONS = (
    update(_SESSIONS)
    .where(_SESSIONS.c.person_id == bindparam("person"), _SESSIONS.c.ended_at.is_(None))
    .values(ended_at=bindparam("now"))
)
_END_TOKENS = (
    update(_TOKENS)
    .where(_TOKENS.c.person_id == bindparam("person"), _TOKENS.c.ended_at.is_(None))
    .values(ended_at=bindparam("now"))
)
_STILL_OUT = (
    select(func.count())
    .select_from(LoanLineRow)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .where(LoanRow.borrower_id == bindparam("person"), LoanLineRow.returned_at.is_(None))
)


@dataclass(frozen=True, slots=True)
class Changed:
    """What was changed about one person, in words; ``again``: it was so before.

    ``still_out``: how many items somebody who was made inactive still holds.
    """

    badge: str
    person: str
    what: str
    again: bool = False
    still_out: int = 0


def give_role(db: Connection, badge: str, site: str, role: Role, *, by: Actor, now: datetime) -> Changed:
    """Give one person a role at a site; it counts with their next click."""
    person, where = find_person(db, badge), find_site(db, site)
    _check_role(db, person, where, role, by)
    if not person.active:
        raise NotPossible(f"{person.name} is no longer active; make them active first.")
    row = {"person_id": person.id, "site_id": where.id, "role": role.value}
    added = db.execute(_GIVE[db.dialect.name], row).first() is not None
    if added:
        body = {"role": role.value}
        daybook.enter(db, where.id, by=by, now=now, act="role given", about=person.badge, body=body)
    return Changed(person.badge, person.name, f"{role} at {where.code}", again=not added)


def take_role(  # Whose, where and which role, and why.
    db: Connection, badge: str, site: str, role: Role, reason: str, *, by: Actor, now: datetime
) -> Changed:
    """Take a role at a site from one person; what they did in it stays on record."""
    person, where = find_person(db, badge), find_site(db, site)
    _check_role(db, person, where, role, by)
    why = written_reason(reason, "why the role ends")
    if not db.execute(_TAKE, {"person": person.id, "site": where.id, "what": role.value}).rowcount:
        raise NotPossible(f"{person.name} is not a {role} at {where.name}.")
    body = {"role": role.value, "reason": why}
    daybook.enter(db, where.id, by=by, now=now, act="role taken", about=person.badge, body=body)
    return Changed(person.badge, person.name, f"{role} at {where.code}")


def name_administrator(
    db: Connection, badge: str, reason: str, *, on: bool, by: Actor, now: datetime
) -> Changed:
    """Make somebody an administrator, or end that; the last one stays, or nobody could let anybody in."""
    known = _administrators(db)
    if by is not SETTING_UP and by.id not in known:
        raise NotAllowed(f"{by.name} is not an administrator; only an administrator may do this.")
    person, why = find_person(db, badge), written_reason(reason, "why")
    if on and not person.active:
        raise NotPossible(f"{person.name} is no longer active; make them active first.")
    if (person.id in known) == on:
        return Changed(person.badge, person.name, "administrator", again=True)
    if not on:
        _keep_one(known, person)
    db.execute(_SET_ADMINISTRATOR, {"person": person.id, "on": on})
    act = "administrator named" if on else "administrator ended"
    daybook.enter(db, ROOM_CHAIN, by=by, now=now, act=act, about=person.badge, body={"reason": why})
    return Changed(person.badge, person.name, "administrator")


def set_active(db: Connection, badge: str, reason: str, *, on: bool, by: Actor, now: datetime) -> Changed:
    """Make somebody inactive, whose sessions and tokens end at once; or active again."""
    known = _administrators(db)
    person = find_person(db, badge)
    roles = {(row.site_id, row.role) for row in db.execute(_HELD) if row.person_id == person.id}
    is_one = by.id in known
    check_keeper_of_people(by, (person.id, person.name), roles, administrator=is_one)
    if person.id in known and not is_one and by is not SETTING_UP:
        raise NotAllowed(f"{person.name} is an administrator; only another administrator may do this.")
    why = written_reason(reason, "why")
    if person.active == on:
        return Changed(person.badge, person.name, "active" if on else "no longer active", again=True)
    if not on:
        _keep_one(known, person)
        db.execute(_END_SESSIONS, {"person": person.id, "now": now})
        db.execute(_END_TOKENS, {"person": person.id, "now": now})
    db.execute(_SET_ACTIVE, {"person": person.id, "on": on})
    act = "made active" if on else "made inactive"
    daybook.enter(db, ROOM_CHAIN, by=by, now=now, act=act, about=person.badge, body={"reason": why})
    still = 0 if on else int(db.execute(_STILL_OUT, {"person": person.id}).scalar_one())
    return Changed(person.badge, person.name, "active" if on else "no longer active", still_out=still)


def _administrators(db: Connection) -> frozenset[int]:
    return frozenset(db.execute(_ADMINISTRATORS).scalars())


def _keep_one(known: frozenset[int], person: PersonLine) -> None:
    if known == {person.id}:
        raise NotPossible(f"{person.name} is the only administrator. Name another one first.")


def _check_role(db: Connection, person: PersonLine, site: SiteLine, role: Role, by: Actor) -> None:
    rows = db.execute(_HELD).all()
    held = Held(
        frozenset(row.site_id for row in rows if row.role in GIVERS),
        frozenset(row.site_id for row in rows if row.role == Role.SAFETY),
    )
    known = by.id in _administrators(db)
    check_giver(by, person.id, (site.id, site.name), role, held, administrator=known)
