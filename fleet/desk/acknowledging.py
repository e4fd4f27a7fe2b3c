"""Saying that a letter was read: only by somebody logged in who was meant to read it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select
from sqlalchemy.dialects import postgresql, sqlite

from fleet.ledgers import daybook
from fleet.lists.deputies import instead_of
from fleet.measures.times import local_day, zone
from fleet.records import AcknowledgementRow, LetterRow, LetterSiteRow, PersonRow, SiteRow
from fleet.records.base import rows_of
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.letters import LetterState
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow
    from fleet.rules.people import Actor

_ADD = {
    name: insert(rows_of(AcknowledgementRow)).on_conflict_do_nothing().returning(AcknowledgementRow.letter_id)
    for name, insert in (("sqlite", sqlite.insert), ("postgresql", postgresql.insert))
}
_COLUMNS = (
    LetterRow.id,
    LetterRow.kind,
    LetterRow.site_id,
    SiteRow.code,
    SiteRow.time_zone,
    LetterRow.week,
    LetterRow.number,
    LetterRow.subject,
    LetterRow.message_id,
    LetterRow.person_id,
    LetterRow.forwards_id,
    PersonRow.name.label("reader"),
    LetterRow.address,
    LetterRow.state,
)
_LETTERS = (
    select(*_COLUMNS)
    .join(SiteRow, SiteRow.id == LetterRow.site_id)
    .outerjoin(PersonRow, PersonRow.id == LetterRow.person_id)
    .order_by(LetterRow.id)
)
_BY_ID = _LETTERS.where(LetterRow.id.in_(bindparam("letters", expanding=True)))
_BY_NUMBER = _LETTERS.where(
    LetterRow.kind == bindparam("kind"),
    LetterRow.site_id == bindparam("of_site"),
    LetterRow.number == bindparam("number"),
)
_ABOUT = select(LetterSiteRow.site_id).where(LetterSiteRow.letter_id == bindparam("letter"))
_ADDRESS = select(PersonRow.address).where(PersonRow.id == bindparam("person"))
_WHO = (
    select(PersonRow.name, AcknowledgementRow.at)
    .join(PersonRow, PersonRow.id == AcknowledgementRow.person_id)
    .where(AcknowledgementRow.letter_id == bindparam("letter"))
)
# Whoever reads what comes to a spare address.
_SPARE_READERS = (Role.KEEPER, Role.SAFETY)


@dataclass(frozen=True, slots=True)
class Numbered:
    """The letters of one number and kind at a site; those that are meant are the acting person's own.

    ``whose``: instead those that were written to this person, and came to whoever is acting as their deputy
    or at the spare address.
    """

    site_id: int
    kind: str
    number: int
    whose: int | None = None


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """A letter that was read, by whom and when. ``again``: somebody had said so before."""

    letter: int
    site: str
    time_zone: str
    week: str
    number: int
    subject: str
    address: str
    by: str
    at: datetime
    again: bool


def acknowledge(
    db: Connection, asked: Sequence[int] | Numbered, *, by: Actor, now: datetime
) -> tuple[Acknowledged, ...]:
    """Note that letters were read: by their ids, or the acting person's own of one number.

    A second time changes nothing and answers who said so first.
    """
    reader = _Reader(db, by, now)
    chosen = _of_number(db, asked, reader) if isinstance(asked, Numbered) else _of_ids(db, asked)
    for row in chosen:
        reader.check(row)
    return tuple(_note(db, row, by, now) for row in chosen)


def _of_ids(db: Connection, asked: Sequence[int]) -> Sequence[AnyRow]:
    found = db.execute(_BY_ID, {"letters": list(asked)}).all()
    if missing := sorted(set(asked) - {row.id for row in found}):
        raise NotFound(f"There is no letter with the id {missing[0]}. See: fleet letters list")
    return found


def _of_number(db: Connection, asked: Numbered, reader: _Reader) -> Sequence[AnyRow]:
    """The letters that are meant and arrived; if there are none of these, those that are not possible."""
    key = {"kind": asked.kind, "of_site": asked.site_id, "number": asked.number}
    found = db.execute(_BY_NUMBER, key).all()
    if asked.whose is not None:
        by_id = {row.id: row for row in found}
        found = [row for row in found if _first(row, by_id).person_id == asked.whose]
    if not found:
        whose = "" if asked.whose is None else " of that person"
        raise NotFound(f"There is no {asked.kind} letter {asked.number}{whose}. See: fleet letters list")
    own = [row for row in found if row.forwards_id is None and reader.own(row)]
    meant = own or [row for row in found if reader.may(row)]
    return [row for row in meant if row.state == LetterState.SENT] or meant[:1] or found[:1]


def _first(row: AnyRow, by_id: Mapping[int, AnyRow]) -> AnyRow:
    """The letter with which passing on began; all that pass it on bear its number."""
    while row.forwards_id is not None:
        row = by_id[row.forwards_id]
    return row


class _Reader:
    """Whoever is acting, and which letters they may say they read."""

    def __init__(self, db: Connection, by: Actor, now: datetime) -> None:
        if by.id is None:
            raise NotAllowed("A letter is acknowledged by a person; say who you are with --by BADGE.")
        self._db, self._by, self._now = db, by, now
        self._box = (db.execute(_ADDRESS, {"person": by.id}).scalar() or "").strip().casefold()

    def own(self, row: AnyRow) -> bool:
        """Whether it came to them, or to the mailbox that they share."""
        return bool(row.person_id == self._by.id or row.address.casefold() == self._box)

    def may(self, row: AnyRow) -> bool:
        """Whether it was theirs to read: their own, that of somebody they stand in for, or a spare one."""
        if self.own(row):
            return True
        if row.person_id is None:
            about = self._db.execute(_ABOUT, {"letter": row.id}).scalars()
            return any((site, role) in self._by.roles for site in about for role in _SPARE_READERS)
        today = local_day(self._now, zone(row.time_zone))
        return instead_of(self._db, today).get(row.person_id) == self._by.id

    def check(self, row: AnyRow) -> None:
        """Refuse what was not theirs to read, or has not arrived."""
        called = f"Letter {row.number} of {row.code} to {row.reader or 'the spare address'}"
        if not self.may(row):
            who = f"{row.reader}, or whoever stands in while they are away"
            readers = who if row.reader else "a keeper or safety officer of a site that it tells about"
            raise NotAllowed(
                f"{called} was not sent to {self._by.name}; {readers}, can say that it was read."
            )
        if row.state != LetterState.SENT:
            raise NotPossible(
                f"{called} is {row.state} and was not sent; only a letter that was sent can have been read."
            )


def _note(db: Connection, row: AnyRow, by: Actor, now: datetime) -> Acknowledged:
    said = {"letter_id": row.id, "person_id": by.id, "at": now}
    added = db.execute(_ADD[db.dialect.name], said).first() is not None
    who = db.execute(_WHO, {"letter": row.id}).one()
    if added:
        body = {"number": row.number, "kind": row.kind, "address": row.address, "message_id": row.message_id}
        daybook.enter(db, row.site_id, by=by, now=now, act="letter acknowledged", about=row.week, body=body)
    return Acknowledged(
        letter=row.id,
        site=row.code,
        time_zone=row.time_zone,
        week=row.week,
        number=row.number,
        subject=row.subject,
        address=row.address,
        by=who.name,
        at=who.at,
        again=not added,
    )
