"""People with their roles, site by site, and what else the page of people tells about them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from sqlalchemy import func, select
from sqlalchemy.orm import aliased

from fleet.records import LoanLineRow, LoanRow, LoginRow, PersonRow, RoleRow

if TYPE_CHECKING:
    from collections.abc import Collection

    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class StaffLine:
    """One person. ``roles`` are pairs of a site's id and a role; ``out`` counts the items they hold."""

    id: int
    badge: str
    name: str
    address: str | None
    active: bool
    administrator: bool
    can_log_in: bool
    out: int
    deputy: str | None
    roles: frozenset[tuple[int, str]] = field(default=frozenset())


_OUT = (
    select(LoanRow.borrower_id, func.count().label("number"))
    .join(LoanLineRow, LoanLineRow.loan_id == LoanRow.id)
    .where(LoanLineRow.returned_at.is_(None))
    .group_by(LoanRow.borrower_id)
    .subquery()
)
_DEPUTY = aliased(PersonRow)
_PEOPLE = (
    select(
        PersonRow.id,
        PersonRow.badge,
        PersonRow.name,
        PersonRow.address,
        PersonRow.active,
        PersonRow.administrator,
        LoginRow.person_id.is_not(None).label("can_log_in"),
        func.coalesce(_OUT.c.number, 0).label("out"),
        _DEPUTY.name.label("deputy"),
        RoleRow.site_id,
        RoleRow.role,
    )
    .outerjoin(RoleRow, RoleRow.person_id == PersonRow.id)
    .outerjoin(LoginRow, LoginRow.person_id == PersonRow.id)
    .outerjoin(_OUT, _OUT.c.borrower_id == PersonRow.id)
    .outerjoin(_DEPUTY, _DEPUTY.id == PersonRow.deputy_id)
    .order_by(PersonRow.name, PersonRow.id)
)


def staff(db: Connection, sites: Collection[int] | None = None) -> list[StaffLine]:
    """Everybody, by name; or only those with a role at one of these sites."""
    kept: dict[int, StaffLine] = {}
    roles: dict[int, set[tuple[int, str]]] = {}
    for row in db.execute(_PEOPLE):
        own = roles.setdefault(row.id, set())
        if row.role:
            own.add((row.site_id, row.role))
        if row.id not in kept:
            kept[row.id] = StaffLine(
                row.id,
                row.badge,
                row.name,
                row.address,
                bool(row.active),
                bool(row.administrator),
                bool(row.can_log_in),
                row.out,
                row.deputy,
            )
    found = []
    for person, line in kept.items():
        if sites is None or any(site in sites for site, _ in roles[person]):
            parts = (line.id, line.badge, line.name, line.address, line.active, line.administrator)
            rest = (line.can_log_in, line.out, line.deputy, frozenset(roles[person]))
            found.append(StaffLine(*parts, *rest))
    return found
