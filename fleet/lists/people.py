"""People, and what they may do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, or_, select

from fleet.records import PersonRow, RoleRow, SiteRow
from fleet.refusals import NotAllowed, NotFound
from fleet.rules.people import SETTING_UP, Actor

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class PersonLine:
    """One person, with roles as ``keeper at NORTH``."""

    id: int
    badge: str
    name: str
    address: str | None
    active: bool
    roles: tuple[str, ...]


_ONE = select(PersonRow.id, PersonRow.badge, PersonRow.name, PersonRow.address, PersonRow.active).where(
    or_(
        PersonRow.badge == bindparam("asked"),
        func.lower(PersonRow.name) == func.lower(bindparam("asked")),
    )
)
_ROLES = select(RoleRow.site_id, RoleRow.role).where(RoleRow.person_id == bindparam("person"))
_ALL = (
    select(
        PersonRow.id,
        PersonRow.badge,
        PersonRow.name,
        PersonRow.address,
        PersonRow.active,
        RoleRow.role,
        SiteRow.code,
    )
    .outerjoin(RoleRow, RoleRow.person_id == PersonRow.id)
    .outerjoin(SiteRow, SiteRow.id == RoleRow.site_id)
    .order_by(PersonRow.name, PersonRow.id, SiteRow.code, RoleRow.role)
)
_ANYBODY = select(func.count()).select_from(PersonRow)


def find_person(db: Connection, asked: str) -> PersonLine:
    """One person by badge, or by name when only one bears it."""
    rows = list(db.execute(_ONE, {"asked": asked.strip()}))
    exact = [row for row in rows if row.badge == asked.strip()] or rows
    if not exact:
        raise NotFound(f"Nobody with the badge or name {asked!r} is on record.")
    if len(exact) > 1:
        badges = ", ".join(row.badge for row in exact)
        raise NotFound(f"{len(exact)} people are called {asked!r}. Give the badge: {badges}.")
    row = exact[0]
    return PersonLine(row.id, row.badge, row.name, row.address, row.active, ())


def find_actor(db: Connection, asked: str | None) -> Actor:
    """Who is acting, with their roles. In a room without people, whoever sets it up."""
    if not asked:
        if db.execute(_ANYBODY).scalar() == 0:
            return SETTING_UP
        raise NotAllowed("Say who you are with --by BADGE, or set FLEET_ACTING to your badge.")
    person = find_person(db, asked)
    if not person.active:
        raise NotAllowed(f"{person.name} is no longer active.")
    roles = frozenset((row.site_id, row.role) for row in db.execute(_ROLES, {"person": person.id}))
    return Actor(person.id, person.name, roles)


def people(db: Connection) -> list[PersonLine]:
    """Everybody, by name, with roles."""
    found: dict[int, PersonLine] = {}
    for row in db.execute(_ALL):
        before = found[row.id].roles if row.id in found else ()
        roles = (*before, f"{row.role} at {row.code}") if row.role else before
        found[row.id] = PersonLine(row.id, row.badge, row.name, row.address, row.active, roles)
    return list(found.values())
