"""Writing letters: one per mailbox and week, in the transaction that took the snapshot."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from sqlalchemy import and_, bindparam, func, insert, or_, select, text, update

from fleet.ledgers import daybook
from fleet.ledgers.letters import NewLetter, add_letter, keep_content
from fleet.ledgers.numbers import take_numbers
from fleet.lists.readers import Roll
from fleet.lists.sites import sites
from fleet.mail.letters import Note, part_of, weekly
from fleet.mail.snapshot import take_snapshot
from fleet.measures.times import iso_week, last_letter_due, zone
from fleet.papers.calendars import calendar_file
from fleet.records import LetterAttemptRow, LetterRow, LetterSiteRow, PersonRow, SiteRow
from fleet.records.base import rows_of
from fleet.refusals import NotFound, NotPossible
from fleet.rules.letters import (
    WEEKLY,
    LetterState,
    Outcome,
    domain_of,
)
from fleet.rules.people import THE_CLOCK, require
from fleet.rules.readers import usable_address
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.readers import Missing
    from fleet.lists.rows import AnyRow
    from fleet.lists.sites import SiteLine
    from fleet.mail.letters import Part
    from fleet.rules.people import Actor
    from fleet.rules.readers import Mailbox

_LETTERS = rows_of(LetterRow)
_ADD_ATTEMPT = insert(rows_of(LetterAttemptRow))
# A calendar that goes along holds so many due days, and so many jobs.
LONGEST_CALENDAR = 30
# Two at once on PostgreSQL must not both find the same letter missing, be it for two sites of one reader.
# SQLite's write lock sees to that.
_QUEUE = text("SELECT pg_advisory_xact_lock(7003, 0)")
_OVERTAKEN = (
    update(_LETTERS)
    .where(
        _LETTERS.c.kind == WEEKLY,
        _LETTERS.c.site_id == bindparam("of_site"),
        _LETTERS.c.week < bindparam("this_week"),
        or_(
            _LETTERS.c.state == LetterState.WRITTEN,
            and_(_LETTERS.c.state == LetterState.TAKEN, _LETTERS.c.lease_until <= bindparam("now")),
        ),
    )
    .values(state=LetterState.UNDELIVERABLE, last_answer=bindparam("why"), lease_until=None, taken_by=None)
    .returning(_LETTERS.c.id, _LETTERS.c.turn)
)
_ONE = (
    select(*LetterRow.__table__.c, SiteRow.code, SiteRow.name.label("site"), PersonRow.address.label("new"))
    .join(SiteRow, SiteRow.id == LetterRow.site_id)
    .outerjoin(PersonRow, PersonRow.id == LetterRow.person_id)
    .where(LetterRow.id == bindparam("letter"))
)
_SITES = select(LetterSiteRow.site_id).where(LetterSiteRow.letter_id == bindparam("letter"))
_COPIES = select(func.max(LetterRow.copy_no)).where(
    LetterRow.kind == bindparam("kind"),
    LetterRow.site_id == bindparam("of_site"),
    LetterRow.week == bindparam("week"),
    or_(LetterRow.address == bindparam("to"), LetterRow.person_id == bindparam("person")),
)


@dataclass(frozen=True, slots=True)
class Written:
    """What a run wrote: the badges of those who got a letter now. None of them, when all had theirs."""

    site: str
    week: str
    number: int | None
    to: tuple[str, ...]


def write_letters(
    db: Connection,
    site: SiteLine,
    week: str,
    *,
    sender: str,
    pages: str | None = None,
    by: Actor,
    now: datetime,
) -> Written:
    """Write the letters of a site and week that are not written yet; a second time writes nothing more.

    Whoever answers for several sites gets one letter about all of them, with those of the first. ``sender``
    is the address they will come from, ``pages`` where one logs in. Letters of earlier weeks that still wait
    are set aside: nobody gets five letters at once, and the new one names them.
    """
    if by is not THE_CLOCK:
        require(by, site.id, site.name, *Role)
    _check_week(site, week, now)
    if db.dialect.name == "postgresql":
        db.execute(_QUEUE)
    missing = Roll(db).missing(site, week, now)
    if not missing.to:
        return Written(site.code, week, missing.number, ())
    number = missing.number or take_numbers(db, f"letters of site {site.id}")[0]
    run = _Run(db, site, week, number, domain_of(sender), missing, pages, now)
    letters = [run.write(to) for to in missing.to]
    _set_aside(db, site, week, now)
    facts = run.part(site.id).facts
    body = {
        "number": number,
        "overdue": len(facts.overdue),
        "coming_due": len(facts.coming_due),
        "letters": [
            {"to": to.badge, "message_id": letter.message_id, "sha256": letter.sha256}
            for to, letter in zip(missing.to, letters, strict=True)
        ],
    }
    daybook.enter(db, site.id, by=by, now=now, act="letters written", about=week, body=body)
    return Written(site.code, week, number, tuple(to.badge for to in missing.to))


class _Run:
    """The letters of one site and week: each site is looked at once, and what is the same is written once."""

    def __init__(
        self,
        db: Connection,
        site: SiteLine,
        week: str,
        number: int,
        domain: str,
        missing: Missing,
        pages: str | None,
        now: datetime,
    ) -> None:
        self._db, self._site, self._week, self._number = db, site, week, number
        self._domain, self._missing, self._pages, self._now = domain, missing, pages, now
        self._sites = {line.id: line for line in sites(db)}
        self._parts: dict[int, Part] = {}
        self._contents: dict[tuple[tuple[int, ...], Note], tuple[str, str]] = {}

    def write(self, to: Mailbox) -> NewLetter:
        """Write the letter to one mailbox."""
        subject, digest = self._content(to)
        letter = NewLetter(
            kind=WEEKLY,
            site=self._site.id,
            code=self._site.code,
            week=self._week,
            number=self._number,
            person_id=to.person_id,
            address=to.address,
            subject=subject,
            sha256=digest,
            domain=self._domain,
            sites=to.sites,
        )
        add_letter(self._db, letter, self._now)
        return letter

    def part(self, site_id: int) -> Part:
        """What is told about one site."""
        if site_id not in self._parts:
            unreached = self._missing.unreached.get(site_id, ())
            line = self._sites[site_id]
            facts = take_snapshot(self._db, line, self._week, unreached=unreached, now=self._now)
            self._parts[site_id] = part_of(facts)
        return self._parts[site_id]

    def _content(self, to: Mailbox) -> tuple[str, str]:
        """The subject and the digest of what is said to everybody who answers for the same sites."""
        note = Note(spare=to.person_id is None, instead_of=to.instead_of, pages=self._pages)
        if (to.sites, note) not in self._contents:
            parts = [self.part(site) for site in to.sites]
            content = weekly(parts, self._number, note, _calendar(parts))
            self._contents[to.sites, note] = content.subject, keep_content(self._db, content)
        return self._contents[to.sites, note]


def _calendar(parts: Sequence[Part]) -> str | None:
    """The calendar that goes along: what falls due first, and the jobs that begin first; none when empty."""
    facts = [part.facts.calendar for part in parts if part.facts.calendar]
    dues = sorted((due.on, due.tag, due.task_id) for one in facts for due in one.dues)[:LONGEST_CALENDAR]
    jobs = sorted((job.starts_at, job.code) for one in facts for job in one.jobs)[:LONGEST_CALENDAR]
    kept = [
        replace(
            one,
            dues=tuple(due for due in one.dues if (due.on, due.tag, due.task_id) in dues),
            jobs=tuple(job for job in one.jobs if (job.starts_at, job.code) in jobs),
        )
        for one in facts
    ]
    if not any(one.dues or one.jobs for one in kept):
        return None
    return calendar_file(*kept).decode()


def _check_week(site: SiteLine, week: str, now: datetime) -> None:
    """A letter shows how things stand now, so it is this week's or that of the last letter day."""
    due, _ = last_letter_due(now, zone(site.time_zone), site.letter_weekday, site.letter_hour)
    open_weeks = sorted({due, iso_week(site.today(now))})
    if week not in open_weeks:
        raise NotPossible(
            f"No letter can be written for {week}, because it would show how things stand now; "
            f"write that of {' or '.join(open_weeks)}."
        )


def _set_aside(db: Connection, site: SiteLine, week: str, now: datetime) -> None:
    """Give up the letters of earlier weeks that still wait; whoever is just sending one may finish."""
    why = f"set aside: the letter of {week} takes its place"
    asked = {"of_site": site.id, "this_week": week, "now": now, "why": why}
    overtaken = [
        {
            "letter_id": row.id,
            "turn": row.turn,
            "at": now,
            "outcome": Outcome.SET_ASIDE,
            "answer": why,
        }
        for row in db.execute(_OVERTAKEN, asked)
    ]
    if overtaken:
        db.execute(_ADD_ATTEMPT, overtaken)


def resend(
    db: Connection, letter_id: int, reason: str, *, sender: str, by: Actor, now: datetime
) -> tuple[str, int]:
    """Write a further copy of a letter to the person's present address; answers it and the copy's number."""
    letter = db.execute(_ONE, {"letter": letter_id}).first()
    if letter is None:
        raise NotFound(f"There is no letter with the id {letter_id}. See: fleet letters list")
    require(by, letter.site_id, letter.site, Role.KEEPER, Role.SAFETY)
    why = written_reason(reason, "why the letter is sent again")
    if letter.state in (LetterState.WRITTEN, LetterState.TAKEN):
        raise NotPossible(f"Letter {letter.number} to {letter.address} is still waiting to be sent.")
    if db.dialect.name == "postgresql":
        db.execute(_QUEUE)
    address = letter.new.strip() if letter.new and usable_address(letter.new) else letter.address
    copy = _copy(db, letter, address, domain_of(sender))
    add_letter(db, copy, now)
    body = {"copy": copy.copy_no, "message_id": copy.message_id, "of": letter.message_id, "reason": why}
    daybook.enter(db, letter.site_id, by=by, now=now, act="letter sent again", about=letter.week, body=body)
    return address, copy.copy_no


def _copy(db: Connection, letter: AnyRow, address: str, domain: str) -> NewLetter:
    asked = {
        "kind": letter.kind,
        "of_site": letter.site_id,
        "week": letter.week,
        "to": address,
        "person": letter.person_id,
    }
    return NewLetter(
        kind=letter.kind,
        site=letter.site_id,
        code=letter.code,
        week=letter.week,
        number=letter.number,
        person_id=letter.person_id,
        address=address,
        subject=letter.subject,
        sha256=letter.sha256,
        domain=domain,
        sites=tuple(db.execute(_SITES, {"letter": letter.id}).scalars()),
        copy_no=int(db.execute(_COPIES, asked).scalar() or 1) + 1,
    )
