"""Passing letters on: to a deputy, then to the spare address, until somebody says that they read them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select, text

from fleet.ledgers import daybook
from fleet.ledgers.letters import NewLetter, add_letter, keep_content, next_copy
from fleet.lists.passing_on import passings
from fleet.mail.passing_on import passed_on
from fleet.records import LetterContentRow, LetterRow
from fleet.rules.letters import Content, domain_of
from fleet.rules.people import THE_CLOCK

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.passing_on import Heir, Passing
    from fleet.lists.rows import AnyRow

# On PostgreSQL in one line with whoever writes letters or sends them again: two at once must not pass the
# same letter on, or give two copies one number. SQLite's write lock sees to that.
_QUEUE = text("SELECT pg_advisory_xact_lock(7003, 0)")
_FIRST = (
    select(
        LetterRow.number,
        LetterRow.subject,
        LetterContentRow.plain,
        LetterContentRow.html,
        LetterContentRow.calendar,
    )
    .join(LetterContentRow, LetterContentRow.sha256 == LetterRow.sha256)
    .where(LetterRow.id == bindparam("letter"))
)


@dataclass(frozen=True, slots=True)
class PassedOn:
    """A letter that was passed on now: whose it is, and the badge that has it now, ``spare`` for nobody's."""

    site: str
    week: str
    number: int
    whose: str
    why: str
    to: str


def pass_on(db: Connection, *, sender: str, pages: str | None = None, now: datetime) -> tuple[PassedOn, ...]:
    """Pass on every letter that is unread past its noon, or was lost; a second time writes nothing more.

    ``sender`` is the address they will come from, ``pages`` where one logs in.
    """
    if db.dialect.name == "postgresql":
        db.execute(_QUEUE)
    done: list[PassedOn] = []
    for passing in passings(db, now):
        first = db.execute(_FIRST, {"letter": passing.step.first.id}).one()
        done += [_write(db, passing, heir, first, (domain_of(sender), pages), now) for heir in passing.heirs]
    return tuple(done)


def _write(
    db: Connection, passing: Passing, heir: Heir, first: AnyRow, ours: tuple[str, str | None], now: datetime
) -> PassedOn:
    of, site, (domain, pages) = passing.step.letter, passing.site, ours
    content = passed_on(Content(*first[1:]), passing, heir, first.number, pages)
    letter = NewLetter(
        kind=of.kind,
        site=site.id,
        code=site.code,
        week=of.week,
        number=first.number,
        person_id=heir.person_id,
        address=heir.address,
        subject=content.subject,
        sha256=keep_content(db, content),
        domain=domain,
        sites=heir.sites,
        copy_no=next_copy(db, kind=of.kind, site=site.id, week=of.week, address=heir.address),
        forwards_id=of.id,
    )
    add_letter(db, letter, now)
    body = {
        "number": first.number,
        "kind": of.kind,
        "of": passing.names[0],
        "because": passing.step.why,
        "to": heir.badge,
        "message_id": letter.message_id,
        "sha256": letter.sha256,
    }
    daybook.enter(db, site.id, by=THE_CLOCK, now=now, act="letter passed on", about=of.week, body=body)
    return PassedOn(site.code, of.week, first.number, passing.names[0], passing.step.why, heir.badge)
