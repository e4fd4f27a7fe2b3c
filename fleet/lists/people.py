"""People, and what they may do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, select

from fleet.records import EntryRow, PersonRow, RoleRow, SiteRow
from fleet.records.prepared import Prepared
from fleet.refusals import NotAllowed, NotFound
from fleet.rules.people import SETTING_UP, Actor

if TYPE_CHECKING:
    from datetime import datetime

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


NEWEST_ENTRY = select(func.max(EntryRow.recorded_at))
_NEWEST = Prepared(select(NEWEST_ENTRY.scalar_subquery().label("newest")))
_BADGES = Prepared(
    select(
        PersonRow.id,
        PersonRow.name,
        PersonRow.active,
        RoleRow.site_id,
        RoleRow.role,
        # Every act needs to know both who and when, so one question asks for both.
        NEWEST_ENTRY.scalar_subquery().label("newest"),
    )
    .outerjoin(RoleRow, RoleRow.person_id == PersonRow.id)
    .where(PersonRow.badge == bindparam("badge"))
)
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


def newest_entry(db: Connection) -> datetime | None:
    """The time of the newest entry of the day book, on any chain."""
    newest: datetime | None = _NEWEST.rows(db, {})[0].newest
    return newest


def find_person(db: Connection, asked: str) -> PersonLine:
    """One person by badge, or by name when only one bears it."""
    typed = " ".join(asked.split())
    everybody = people(db)
    # In Python, because SQLite folds the case of ASCII letters only.
    found = [one for one in everybody if one.badge == typed] or [
        one for one in everybody if one.name.casefold() == typed.casefold()
    ]
    if not found:
        raise NotFound(f"Nobody with the badge or name {asked!r} is on record.")
    if len(found) > 1:
        badges = ", ".join(one.badge for one in found)
        raise NotFound(f"{len(found)} people are called {asked!r}. Give the badge: {badges}.")
    return found[0]


def find_actor(db: Connection, asked: str | None) -> tuple[Actor, datetime | None]:
    """Who is acting, with their roles, and the time of the newest day-book entry.

    In a room without people it is whoever sets the room up.
    """
    if not asked:
        if db.execute(_ANYBODY).scalar() == 0:
            return SETTING_UP, db.execute(NEWEST_ENTRY).scalar()
        raise NotAllowed("Say who you are with --by BADGE, or set FLEET_ACTING to your badge.")
    rows = _BADGES.rows(db, {"badge": asked})
    if not rows:
        rows = _BADGES.rows(db, {"badge": find_person(db, asked).badge})
    person = rows[0]
    if not person.active:
        raise NotAllowed(f"{person.name} is no longer active.")
    roles = frozenset((row.site_id, row.role) for row in rows if row.role)
    return Actor(person.id, person.name, roles), person.newest


def people(db: Connection) -> list[PersonLine]:
    """Everybody, by name, with roles."""
    found: dict[int, PersonLine] = {}
    for row in db.execute(_ALL):
        before = found[row.id].roles if row.id in found else ()
        roles = (*before, f"{row.role} at {row.code}") if row.role else before
        found[row.id] = PersonLine(row.id, row.badge, row.name, row.address, row.active, roles)
    return list(found.values())
