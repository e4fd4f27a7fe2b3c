"""Letters into the record: what they say once, the letter itself, and the sites it tells about."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, insert, select
from sqlalchemy.dialects import postgresql, sqlite

from fleet.records import LetterContentRow, LetterRow, LetterSiteRow
from fleet.records.base import rows_of
from fleet.rules.letters import GIVE_UP_AFTER, LetterState, content_digest, message_id

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.letters import Content

_LETTERS = rows_of(LetterRow)
_CONTENTS = rows_of(LetterContentRow)
_ADD = insert(_LETTERS).returning(_LETTERS.c.id)
_ADD_SITE = insert(rows_of(LetterSiteRow))
_KEEP = {
    "sqlite": sqlite.insert(_CONTENTS).on_conflict_do_nothing(),
    "postgresql": postgresql.insert(_CONTENTS).on_conflict_do_nothing(),
}
_COPIES = select(func.max(LetterRow.copy_no)).where(
    LetterRow.kind == bindparam("kind"),
    LetterRow.site_id == bindparam("of_site"),
    LetterRow.week == bindparam("week"),
    LetterRow.address == bindparam("to"),
)


@dataclass(frozen=True, slots=True)
class NewLetter:
    """A letter to one address. ``site`` and ``code``: whose number it bears; ``sites``: all it tells about.

    ``domain`` is that of the sender, under which the letter is named. ``forwards_id``: the letter passed on.
    """

    kind: str
    site: int
    code: str
    week: str
    number: int
    person_id: int | None
    address: str
    subject: str
    sha256: str
    domain: str
    sites: tuple[int, ...]
    copy_no: int = 1
    forwards_id: int | None = None

    @property
    def message_id(self) -> str:
        """The name under which a mailbox knows it."""
        return message_id(self.kind, self.code, self.week, self.address, self.copy_no, domain=self.domain)


def keep_content(db: Connection, content: Content) -> str:
    """Keep what letters say, once for all who are told the same; answers the digest that names it."""
    digest = content_digest(content)
    kept = {"sha256": digest, "plain": content.plain, "html": content.html, "calendar": content.calendar}
    db.execute(_KEEP[db.dialect.name], kept)
    return digest


def add_letter(db: Connection, letter: NewLetter, now: datetime) -> int:
    """Put a letter among those that wait to be sent; answers its id."""
    row = {
        "kind": letter.kind,
        "site_id": letter.site,
        "week": letter.week,
        "number": letter.number,
        "person_id": letter.person_id,
        "address": letter.address,
        "copy_no": letter.copy_no,
        "message_id": letter.message_id,
        "subject": letter.subject,
        "sha256": letter.sha256,
        "forwards_id": letter.forwards_id,
        "written_at": now,
        "state": LetterState.WRITTEN,
        "turn": 0,
        "not_before": now,
        "give_up_at": now + GIVE_UP_AFTER,
    }
    added = int(db.execute(_ADD, row).scalar_one())
    db.execute(_ADD_SITE, [{"letter_id": added, "site_id": site} for site in letter.sites])
    return added


def next_copy(db: Connection, *, kind: str, site: int, week: str, address: str) -> int:
    """The number of the next copy of a letter to an address; the first is 1."""
    asked = {"kind": kind, "of_site": site, "week": week, "to": address}
    return int(db.execute(_COPIES, asked).scalar() or 0) + 1
