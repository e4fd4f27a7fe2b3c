"""Sites and people."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from sqlalchemy import insert, select, update

from fleet.desk.imports.piles import Laid, Pile, only_once
from fleet.desk.imports.report import Change
from fleet.desk.imports.work import SHARED
from fleet.lists.deputies import colleagues
from fleet.lists.exports import WEEKDAYS, show_working_days
from fleet.measures.times import zone
from fleet.measures.units import find_unit
from fleet.records import PersonRow, RoleRow, SiteRow
from fleet.records.base import rows_of
from fleet.rules.cells import CellRefused, Field, maybe, needed, one_of, text, usual, yes_no
from fleet.rules.deputies import check_deputy
from fleet.rules.readers import usable_address
from fleet.rules.register import PressureUnit, Role, TorqueUnit

if TYPE_CHECKING:
    from collections.abc import Sequence
    from enum import StrEnum

    from fleet.desk.imports.tables import Table
    from fleet.desk.imports.work import Line, Work
    from fleet.rules.cells import Read

_HOURS = 24
_WHO = (Role.KEEPER, Role.SAFETY)


def _unit(units: type[StrEnum]) -> Read:
    choose = one_of(units)

    def read(cell: str, unit: str | None) -> tuple[str]:
        found = find_unit(cell)
        return choose(found.label if found else cell, unit)

    return read


def _weekday(cell: str, _unit: str | None) -> tuple[int]:
    for number, name in enumerate(WEEKDAYS):
        if cell.casefold() in (name.casefold(), name[:3].casefold()):
            return (number,)
    raise CellRefused("unknown", f'"{cell[:40]}" is not a day of the week; write one like Monday.')


def _hour(cell: str, _unit: str | None) -> tuple[int]:
    figures = cell.removesuffix(":00")
    if not figures.isdecimal() or not figures.isascii() or not 0 <= int(figures) < _HOURS:
        raise CellRefused("not an hour", f'"{cell[:40]}" is not a full hour; write a number from 0 to 23.')
    return (int(figures),)


def _working_days(cell: str, _unit: str | None) -> tuple[str]:
    """Days by name, as ISO weekdays in figures."""
    try:
        found = {_weekday(word, None)[0] for word in re.split("[ ,;]+", cell.strip(" ,;"))}
    except CellRefused:
        sentence = f'"{cell[:40]}" does not name days of the week; write them like Mon Tue Wed Thu Fri.'
        raise CellRefused("unknown", sentence) from None
    return ("".join(str(day + 1) for day in sorted(found)),)


def _zone(cell: str, _unit: str | None) -> tuple[str]:
    return (zone(cell).key,)


def _address(cell: str, _unit: str | None) -> tuple[str]:
    if not usable_address(cell):
        raise CellRefused(
            "not an address",
            f'"{cell[:60]}" is not one mail address; write it like keeper@tool-room.example.',
        )
    return (cell,)


_SITES = (
    needed("Site", "code", text),
    needed("Name", "name", text),
    needed("Time zone", "time_zone", _zone),
    needed("Pressure unit", "pressure_unit", _unit(PressureUnit)),
    needed("Torque unit", "torque_unit", _unit(TorqueUnit)),
    Field("Letter day", ("letter_weekday",), _weekday, (0,), keeps=True, show=WEEKDAYS.__getitem__),
    usual("Letter hour", "letter_hour", _hour, 6),
    needed("Spare address", "spare_address", _address),
    usual("Quiet from", "quiet_from_hour", _hour, 20),
    usual("Quiet until", "quiet_until_hour", _hour, 6),
    Field("Working days", ("working_days",), _working_days, ("12345",), keeps=True, show=show_working_days),
)


def take_sites(work: Work, tables: Sequence[Table]) -> None:
    """Sites by code. A new one may be set up by any keeper or safety officer."""
    pile = Pile(work, SiteRow, _SITES, lambda row: row.code.casefold())
    lines = [(line, line.values["code"].casefold()) for line in work.lines(tables, _SITES)]
    for line, key in only_once(work, lines):
        with work.judging(line):
            kept = pile.kept.get(key)
            pile.lay(line, Laid(key, line.values["code"], kept.id if kept else SHARED, _WHO))
    pile.write("sites")
    work.known.forget("sites", "sites_by_id")


_PEOPLE = (
    needed("Badge", "badge", text),
    needed("Name", "name", text),
    maybe("E-mail", "address", _address),
    usual("Active", "active", yes_no, value=True),
    # Who stands in may be a person of the same sheet, so it is looked up when all of them are on record.
    maybe("Deputy", "deputy", text),
)


def take_people(work: Work, tables: Sequence[Table]) -> None:
    """People by badge, one row per role; rows of one badge must agree on everything but the role."""
    of_site = maybe("Site", "site", lambda cell, _unit: (work.known.sites.find(cell).id,))
    fields = (*_PEOPLE, of_site, maybe("Role", "role", one_of(Role)))
    lines = [
        (line, (line.values["badge"].casefold(), line.values.get("site"), line.values.get("role")))
        for line in work.lines(tables, fields)
    ]
    people = _People(work)
    by_badge: dict[str, list[Line]] = {}
    for line, _ in only_once(work, lines):
        by_badge.setdefault(line.values["badge"].casefold(), []).append(line)
    for badge, rows in by_badge.items():
        with work.judging(*rows):
            _check_agreement(rows)
            people.take(badge, rows)
    people.write()


def _check_agreement(rows: Sequence[Line]) -> None:
    for field in _PEOPLE:
        said = {rows[0].values.get(field.into[0]): rows[0]}
        for row in rows:
            said.setdefault(row.values.get(field.into[0]), row)
        if len(said) > 1:
            places = " and ".join(row.where for row in said.values())
            raise CellRefused(
                "rows disagree", f"{places} give the same badge a different {field.heading}.", field.heading
            )
    for row in rows:
        if (row.values.get("site") is None) != (row.values.get("role") is None):
            column = "Site" if row.values.get("site") is None else "Role"
            raise CellRefused(
                "half a role",
                f"A role is held at a site; the {column} is missing in {row.where}. Give both, or neither "
                "for a borrower.",
                column,
            )


class _People:
    """People and their roles: two tables out of one sheet."""

    def __init__(self, work: Work) -> None:
        self.work = work
        # No sheet makes an administrator.
        filled = {"administrator": False}
        self.pile = Pile(work, PersonRow, _PEOPLE, lambda row: row.badge.casefold(), filled=filled)
        held = work.db.execute(select(RoleRow.person_id, RoleRow.site_id, RoleRow.role))
        self.held = {(row.person_id, row.site_id, row.role) for row in held}
        self.manned = {site for _, site, role in self.held if role in _WHO}
        self.officers = {site for _, site, role in self.held if role == Role.SAFETY}
        self.roles: list[tuple[str, int, str]] = []
        self.deputies: list[tuple[Line, str, str | None]] = []

    def take(self, badge: str, rows: Sequence[Line]) -> None:
        """All rows of one badge: one person, and a role per row."""
        kept = self.pile.kept.get(badge)
        given = [(row.values.get("site"), row.values.get("role")) for row in rows]
        new = [role[1] is not None and (kept is None or (kept.id, *role) not in self.held) for role in given]
        for (site, role), adds in zip(given, new, strict=True):
            if adds and site and role:
                self.work.allow(*self._granters(site, role))
        what, changes = self.pile.put(rows[0], Laid(badge, rows[0].values["badge"], SHARED, _WHO))
        if change := self._another_deputy(badge, rows[0]):
            self.work.allow(SHARED, *_WHO)
            what, changes = ("changed" if what == "unchanged" else what), [*changes, change]
        for row, (site, role), adds in zip(rows, given, new, strict=True):
            if adds and site and role:
                self.roles.append((badge, site, role))
            whole = what if row is rows[0] and what != "unchanged" else ("new" if adds else "unchanged")
            self.work.count(row, whole, SHARED, changes if row is rows[0] else ())

    def _another_deputy(self, badge: str, row: Line) -> Change | None:
        """What the sheet says of who stands in, when that is not what is on record."""
        if "deputy" not in row.values:
            return None
        kept, named = self.pile.kept.get(badge), row.values["deputy"]
        people = self.work.known.people_by_id
        before = people[kept.deputy_id].badge if kept and kept.deputy_id else None
        if (before or "").casefold() == (named or "").casefold():
            return None
        self.deputies.append((row, badge, named))
        return Change("people", row.values["badge"], "Deputy", before or "", named or "")

    def _write_deputies(self) -> None:
        if not self.deputies:
            return
        people = {one.badge.casefold(): one for one in colleagues(self.work.db).values()}
        for row, badge, named in self.deputies:
            with self.work.judging(row):
                found = people.get(named.casefold()) if named else None
                if named and not found:
                    raise CellRefused("unknown", f"Nobody has the badge {named[:40]!r}.", "Deputy")
                if found:
                    check_deputy(people[badge], found)
                theirs = update(rows_of(PersonRow)).where(rows_of(PersonRow).c.id == people[badge].id)
                self.work.db.execute(theirs.values(deputy_id=found.id if found else None))

    def _granters(self, site: int, role: str) -> tuple[int, *tuple[Role, ...]]:
        """At which site, and in which role, somebody may grant this one.

        Only a safety officer makes another: a concession needs two people, and a keeper who could become the
        second one would need nobody. The first roles of a new site are given from elsewhere.
        """
        if role == Role.SAFETY and self.officers:
            return (site if site in self.officers else SHARED, Role.SAFETY)
        return (site if site in self.manned else SHARED, *_WHO)

    def write(self) -> None:
        """Write people first, then the roles of those and of people on record."""
        self.pile.write("people")
        self.work.known.forget("people", "people_by_id")
        ids = {one.badge.casefold(): one.id for one in self.work.known.people_by_id.values()}
        rows = [{"person_id": ids[badge], "site_id": site, "role": role} for badge, site, role in self.roles]
        if rows:
            self.work.db.execute(insert(rows_of(RoleRow)), rows)
        self._write_deputies()
