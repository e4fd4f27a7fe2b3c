"""Letters: what was written to whom, what became of it, and who ought to be written to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import Integer, Text, and_, bindparam, exists, func, or_, select, text
from sqlalchemy.orm import aliased

from fleet.lists.passing_on import unread
from fleet.lists.rows import lines
from fleet.records import (
    AcknowledgementRow,
    LetterAttemptRow,
    LetterContentRow,
    LetterRow,
    LetterSiteRow,
    PersonRow,
    SiteRow,
)
from fleet.rules.letters import BEGINNINGS, UNKNOWN, WEEKLY, LetterState, Outcome
from fleet.rules.readers import SPARE

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine


@dataclass(frozen=True, slots=True)
class LetterLine:
    """One letter. ``badge`` is ``spare`` for the spare address; ``attempts``: how often it was taken.

    ``unanswered``: how many turns ended without an answer, so that it may have arrived as often. ``whose``:
    the badge of the person to whom a letter went first that was passed on to this one.
    """

    id: int
    site: str
    time_zone: str
    week: str
    number: int
    copy_no: int
    badge: str
    reader: str
    address: str
    subject: str
    state: str
    attempts: int
    written_at: datetime
    sent_at: datetime | None
    not_before: datetime
    last_answer: str | None
    unanswered: int = 0
    read_at: datetime | None = None
    read_by: str | None = None
    whose: str | None = None


@dataclass(frozen=True, slots=True)
class LetterText:
    """What one letter says, and by which digest that can be checked."""

    message_id: str
    sha256: str
    plain: str
    html: str


@dataclass(frozen=True, slots=True)
class Attempt:
    """One attempt to deliver a letter, or its beginning."""

    letter: int
    turn: int
    at: datetime
    outcome: str
    answer: str


_END = aliased(LetterAttemptRow)
# Turns in which a letter was handed over and nobody knows what came of it; not the one in hand.
UNANSWERED = (
    select(func.count())
    .select_from(LetterAttemptRow)
    .where(
        LetterAttemptRow.letter_id == LetterRow.id,
        LetterAttemptRow.outcome == Outcome.HANDING_OVER,
        or_(LetterRow.state != LetterState.TAKEN, LetterAttemptRow.turn != LetterRow.turn),
        ~exists().where(
            _END.letter_id == LetterAttemptRow.letter_id,
            _END.turn == LetterAttemptRow.turn,
            # One by one: a statement that is prepared once has no list of any length in it.
            *(_END.outcome != known for known in UNKNOWN),
        ),
    )
    .correlate(LetterRow)
    .scalar_subquery()
)
_READ_BY, _FIRST_READER, _FIRST_OF_ALL = aliased(PersonRow), aliased(PersonRow), aliased(PersonRow)
_BEFORE, _FIRST = aliased(LetterRow), aliased(LetterRow)
_LINE = (
    select(
        LetterRow.id,
        SiteRow.code.label("site"),
        SiteRow.time_zone,
        LetterRow.week,
        LetterRow.number,
        LetterRow.copy_no,
        func.coalesce(PersonRow.badge, SPARE).label("badge"),
        func.coalesce(PersonRow.name, SiteRow.name).label("reader"),
        LetterRow.address,
        LetterRow.subject,
        LetterRow.state,
        LetterRow.turn,
        LetterRow.written_at,
        LetterRow.sent_at,
        LetterRow.not_before,
        LetterRow.last_answer,
        UNANSWERED,
        AcknowledgementRow.at,
        _READ_BY.name,
        # Passed on twice at most: to the deputy, then to the spare address.
        func.coalesce(_FIRST_OF_ALL.badge, _FIRST_READER.badge),
    )
    .join(SiteRow, SiteRow.id == LetterRow.site_id)
    .outerjoin(PersonRow, PersonRow.id == LetterRow.person_id)
    .outerjoin(AcknowledgementRow, AcknowledgementRow.letter_id == LetterRow.id)
    .outerjoin(_READ_BY, _READ_BY.id == AcknowledgementRow.person_id)
    .outerjoin(_BEFORE, _BEFORE.id == LetterRow.forwards_id)
    .outerjoin(_FIRST_READER, _FIRST_READER.id == _BEFORE.person_id)
    .outerjoin(_FIRST, _FIRST.id == _BEFORE.forwards_id)
    .outerjoin(_FIRST_OF_ALL, _FIRST_OF_ALL.id == _FIRST.person_id)
)
_NEWEST_FIRST = (LetterRow.week.desc(), SiteRow.code, LetterRow.number.desc(), LetterRow.id)
_TO_PERSON = (
    _LINE.where(LetterRow.person_id == bindparam("person"))
    .order_by(LetterRow.id.desc())
    .limit(bindparam("most"))
)
_MANY = (
    _LINE.where(
        or_(bindparam("site", type_=Text()).is_(None), SiteRow.code == bindparam("site")),
        # The minute of a letter at once begins with its week.
        or_(bindparam("week", type_=Text()).is_(None), LetterRow.week.startswith(bindparam("week"))),
        or_(bindparam("state", type_=Text()).is_(None), LetterRow.state == bindparam("state")),
        or_(bindparam("number", type_=Integer()).is_(None), LetterRow.number == bindparam("number")),
    )
    .order_by(*_NEWEST_FIRST)
    .limit(bindparam("most"))
)
_UNREAD = _LINE.where(
    SiteRow.code == bindparam("site"), LetterRow.id.in_(bindparam("ids", expanding=True))
).order_by(*_NEWEST_FIRST)
_TEXT = (
    select(LetterRow.message_id, LetterRow.sha256, LetterContentRow.plain, LetterContentRow.html)
    .join(LetterContentRow, LetterContentRow.sha256 == LetterRow.sha256)
    .where(LetterRow.id == bindparam("letter"))
)
_ATTEMPT = select(
    LetterAttemptRow.letter_id,
    LetterAttemptRow.turn,
    LetterAttemptRow.at,
    LetterAttemptRow.outcome,
    LetterAttemptRow.answer,
)
_ATTEMPTS = _ATTEMPT.where(LetterAttemptRow.letter_id == bindparam("letter")).order_by(LetterAttemptRow.id)
_LAST_ENDED = (
    _ATTEMPT.where(LetterAttemptRow.outcome.not_in((*BEGINNINGS, Outcome.SET_ASIDE)))
    .order_by(LetterAttemptRow.id.desc())
    .limit(1)
)
# A weekly letter tells about every site its reader answers for.
_OF_SITE = and_(
    LetterRow.kind == WEEKLY,
    exists().where(LetterSiteRow.letter_id == LetterRow.id, LetterSiteRow.site_id == bindparam("of_site")),
)
_WEEK_BEFORE = select(func.max(LetterRow.week)).where(_OF_SITE, LetterRow.week < bindparam("week"))
_COPY = aliased(LetterRow)
_SENT_AFTER_ALL = exists().where(
    _COPY.kind == LetterRow.kind,
    _COPY.site_id == LetterRow.site_id,
    _COPY.week == LetterRow.week,
    or_(_COPY.address == LetterRow.address, _COPY.person_id == LetterRow.person_id),
    _COPY.state == LetterState.SENT,
)
_NOT_DELIVERED = _LINE.where(
    _OF_SITE,
    LetterRow.week >= bindparam("since"),
    or_(
        LetterRow.state == LetterState.UNDELIVERABLE,
        and_(LetterRow.state != LetterState.SENT, LetterRow.week < bindparam("week")),
    ),
    ~_SENT_AFTER_ALL,
).order_by(*_NEWEST_FIRST)
_ABOUT_SITE = exists().where(
    LetterSiteRow.letter_id == LetterRow.id, LetterSiteRow.site_id == bindparam("of_site")
)
_ABOUT = (
    _LINE.where(_ABOUT_SITE, LetterRow.week >= bindparam("since"))
    .order_by(*_NEWEST_FIRST)
    .limit(bindparam("most"))
)
_LATER_COPY = aliased(LetterRow)
_DEAD = _LINE.where(
    _ABOUT_SITE,
    LetterRow.week >= bindparam("since"),
    LetterRow.state == LetterState.UNDELIVERABLE,
    ~_SENT_AFTER_ALL,
    # A later copy that waits, or was given up in its turn, speaks for this one.
    ~exists().where(
        _LATER_COPY.kind == LetterRow.kind,
        _LATER_COPY.site_id == LetterRow.site_id,
        _LATER_COPY.week == LetterRow.week,
        or_(
            _LATER_COPY.address == LetterRow.address,
            _LATER_COPY.person_id == LetterRow.person_id,
        ),
        _LATER_COPY.id > LetterRow.id,
    ),
).order_by(*_NEWEST_FIRST)
_ONE = _LINE.where(LetterRow.id == bindparam("letter"), _ABOUT_SITE)
# Written out as in the index of waiting letters: counting by a bound value would read every letter there is.
_WAITING = select(func.count()).select_from(LetterRow).where(text("state IN ('written', 'taken')"))


def letters(
    db: Connection,
    *,
    site: str | None = None,
    week: str | None = None,
    number: int | None = None,
    state: str | None = None,
    most: int = 100,
) -> list[LetterLine]:
    """Letters, the newest week first."""
    asked = {"site": site, "week": week, "number": number, "state": state, "most": most}
    return lines(LetterLine, db.execute(_MANY, asked))


def letters_for(db: Connection, person_id: int, *, most: int = 100) -> list[LetterLine]:
    """What was written to one person, the newest first."""
    return lines(LetterLine, db.execute(_TO_PERSON, {"person": person_id, "most": most}))


def unacknowledged(db: Connection, site: SiteLine, *, now: datetime) -> list[LetterLine]:
    """Letters of the last weeks that were sent, and that nobody who had them said they had read."""
    waiting = unread(db, now)
    return lines(LetterLine, db.execute(_UNREAD, {"site": site.code, "ids": list(waiting)}))


def letter_text(db: Connection, letter_id: int) -> LetterText:
    """What one letter says."""
    return LetterText(*db.execute(_TEXT, {"letter": letter_id}).one())


def attempts(db: Connection, letter_id: int) -> list[Attempt]:
    """Every attempt to deliver one letter, in order."""
    return lines(Attempt, db.execute(_ATTEMPTS, {"letter": letter_id}))


def last_attempt(db: Connection) -> Attempt | None:
    """How the newest attempt at any letter ended."""
    row = db.execute(_LAST_ENDED).first()
    return Attempt(*row) if row else None


def week_before(db: Connection, site_id: int, week: str) -> str | None:
    """The newest week before this one of which letters told about the site."""
    found: str | None = db.execute(_WEEK_BEFORE, {"of_site": site_id, "week": week}).scalar()
    return found


def not_delivered(db: Connection, site: SiteLine, *, since: str, week: str) -> list[LetterLine]:
    """Letters since a week that were given up, and those of weeks before ``week`` that are still waiting.

    A letter of which a copy arrived is delivered.
    """
    return lines(LetterLine, db.execute(_NOT_DELIVERED, {"of_site": site.id, "since": since, "week": week}))


def letters_about(db: Connection, site: SiteLine, *, since: str, most: int = 200) -> list[LetterLine]:
    """Letters since a week that tell about the site, whoever got them, the newest first."""
    asked = {"of_site": site.id, "since": since, "most": most}
    return lines(LetterLine, db.execute(_ABOUT, asked))


def dead_letters(db: Connection, site: SiteLine, *, since: str) -> list[LetterLine]:
    """Letters of any kind since a week that were given up, without a copy that was sent or still waits."""
    return lines(LetterLine, db.execute(_DEAD, {"of_site": site.id, "since": since}))


def letter_about(db: Connection, site: SiteLine, letter: int) -> LetterLine | None:
    """One letter, if it tells about the site."""
    found = lines(LetterLine, db.execute(_ONE, {"of_site": site.id, "letter": letter}))
    return found[0] if found else None


def waiting(db: Connection) -> int:
    """How many letters are still to be sent."""
    count: int = db.execute(_WAITING).scalar_one()
    return count
