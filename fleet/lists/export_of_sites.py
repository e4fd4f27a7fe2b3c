"""The register's sheets without what belongs to other sites: for somebody who has a role at some only."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import BindParameter, bindparam, exists, or_, select

from fleet.lists.exports import SheetRows, export_sheet
from fleet.records import ItemRow, JobRow, PersonRow, RoleRow, SiteRow
from fleet.rules.sheets import SHEETS

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence

    from sqlalchemy import Select
    from sqlalchemy.engine import Connection

    from fleet.lists.exports import Cell

_SITES: BindParameter[int] = bindparam("sites", expanding=True)
# Who has no role anywhere may borrow anywhere.
_PEOPLE = select(PersonRow.badge).where(
    or_(
        ~exists().where(RoleRow.person_id == PersonRow.id),
        exists().where(RoleRow.person_id == PersonRow.id, RoleRow.site_id.in_(_SITES)),
    )
)
# What decides about a row: each of these columns that its sheet has. A blank cell belongs to all.
_OWNERS: tuple[tuple[str, Select[str]], ...] = (
    ("Site", select(SiteRow.code).where(SiteRow.id.in_(_SITES))),
    ("Tag", select(ItemRow.tag).where(ItemRow.site_id.in_(_SITES))),
    ("Job", select(JobRow.code).where(JobRow.site_id.in_(_SITES))),
    ("Badge", _PEOPLE),
)


def export_of_sites(
    db: Connection, sites: Collection[int], names: Sequence[str] | None = None
) -> list[SheetRows]:
    """The sheets of these names, or all, with the rows of these sites and what is shared by all."""
    owned = {heading: set(db.execute(ask, {"sites": list(sites)}).scalars()) for heading, ask in _OWNERS}
    return [
        _narrowed(export_sheet(db, sheet), owned) for sheet in SHEETS if names is None or sheet.name in names
    ]


def _narrowed(sheet: SheetRows, owned: dict[str, set[str]]) -> SheetRows:
    tests = [_belongs(at, owned[heading]) for at, heading in enumerate(sheet.headings) if heading in owned]
    if not tests:
        return sheet
    rows = tuple(row for row in sheet.rows if all(belongs(row) for belongs in tests))
    return SheetRows(sheet.name, sheet.headings, rows)


def _belongs(at: int, own: set[str]) -> Callable[[Sequence[Cell]], bool]:
    def belongs(row: Sequence[Cell]) -> bool:
        cell = str(row[at])
        return not cell or cell in own

    return belongs
