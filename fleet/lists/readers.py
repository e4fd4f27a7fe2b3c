"""Who is to be told at each site, and who has no weekly letter yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select

from fleet.lists.deputies import instead_of
from fleet.records import LetterRow, LetterSiteRow, PersonRow, RoleRow, SiteRow
from fleet.rules.letters import WEEKLY
from fleet.rules.readers import SPARE, Mailbox, Mailboxes, Reader, Told, mailboxes, still_to_write

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine


@dataclass(frozen=True, slots=True)
class Missing:
    """Who must still be written to for a site and week, and the number that the week has already there.

    ``unreached``: those with a role who cannot be written to, by the id of their site.
    """

    to: tuple[Mailbox, ...]
    unreached: Mapping[int, tuple[Reader, ...]]
    number: int | None


_READERS = (
    select(RoleRow.site_id, PersonRow.id, PersonRow.badge, PersonRow.name, PersonRow.address, RoleRow.role)
    .join(RoleRow, RoleRow.person_id == PersonRow.id)
    .join(SiteRow, SiteRow.id == RoleRow.site_id)
    .where(PersonRow.active == bindparam("active", value=True))
    .order_by(SiteRow.code, PersonRow.name, PersonRow.badge)
)
_OF_SITE = _READERS.where(RoleRow.site_id == bindparam("site"))
_PEOPLE = select(PersonRow.id, PersonRow.badge, PersonRow.name, PersonRow.address).where(
    PersonRow.active == bindparam("active", value=True),
    PersonRow.id.in_(bindparam("people", expanding=True)),
)
# A letter that passes another one on makes up for nothing: whoever has it may have one of their own to come.
_WRITTEN = (
    select(
        LetterRow.id,
        LetterRow.address,
        LetterRow.person_id,
        LetterRow.state,
        LetterRow.number,
        LetterRow.site_id,
        LetterSiteRow.site_id.label("about"),
    )
    .join(LetterSiteRow, LetterSiteRow.letter_id == LetterRow.id)
    .where(LetterRow.kind == WEEKLY, LetterRow.week == bindparam("week"), LetterRow.forwards_id.is_(None))
    .order_by(LetterRow.copy_no, LetterRow.id)
)


def readers(db: Connection, site_id: int) -> list[Reader]:
    """Everybody active who answers for something at the site, by name."""
    return [reader for _, reader in _gather(db.execute(_OF_SITE, {"site": site_id}))]


def all_mailboxes(db: Connection, day: date) -> Mailboxes:
    """All mailboxes with the sites they are told about; who is away on that day is stood in for."""
    found = _gather(db.execute(_READERS))
    away = instead_of(db, day)
    rows = db.execute(_PEOPLE, {"people": list(set(away.values()))}) if away else ()
    people = {row.id: Reader(row.id, row.badge, row.name, row.address, frozenset()) for row in rows}
    return mailboxes(found, {who: people[to] for who, to in away.items() if to in people})


def _gather(rows: object) -> list[tuple[int, Reader]]:
    found: dict[tuple[int, int], Reader] = {}
    for site, person, badge, name, address, role in rows:  # type: ignore[attr-defined]
        before = found[site, person].roles if (site, person) in found else frozenset()
        found[site, person] = Reader(person, badge, name, address, before | {role})
    return [(site, reader) for (site, _), reader in found.items()]


def spare_of(site: SiteLine) -> Mailbox:
    """The address that is told when nobody else can be."""
    return Mailbox(None, SPARE, site.name, site.spare_address, (site.id,))


class Roll:
    """Who is to be told and who has been, looked up once for all sites of a round: each day and week once."""

    def __init__(self, db: Connection) -> None:
        self._db = db
        self._boxes: dict[date, Mailboxes] = {}
        self._letters: dict[str, tuple[list[Told], dict[int, int]]] = {}

    def missing(self, site: SiteLine, week: str, now: datetime) -> Missing:
        """Who must still be written to for a site and week."""
        day = site.today(now)
        if day not in self._boxes:
            self._boxes[day] = all_mailboxes(self._db, day)
        if week not in self._letters:
            self._letters[week] = _letters(self._db, week)
        boxes, (told, numbers) = self._boxes[day], self._letters[week]
        to = still_to_write(boxes.all, spare_of(site), told)
        return Missing(tuple(to), boxes.unreached, numbers.get(site.id))


def _letters(db: Connection, week: str) -> tuple[list[Told], dict[int, int]]:
    """The weekly letters of a week, and the number that they have at each site."""
    told: dict[int, Told] = {}
    numbers = {}
    for row in db.execute(_WRITTEN, {"week": week}):
        before = told[row.id].sites if row.id in told else frozenset()
        told[row.id] = Told(row.address, row.person_id, row.state, before | {row.about})
        numbers[row.site_id] = row.number
    return list(told.values()), numbers
