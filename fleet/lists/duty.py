"""Is the duty done: do letters go out, and does what runs by the clock still run. Silence must be noticed.

No sentence here names a person or an address, because they are also shown to whoever watches from outside.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import and_, bindparam, case, exists, func, or_, select, text, true
from sqlalchemy.orm import aliased

from fleet.measures.times import as_utc, iso_week
from fleet.records import (
    HeartbeatRow,
    LetterAttemptRow,
    LetterRow,
    LetterSiteRow,
    PersonRow,
    RoleRow,
    SiteRow,
)
from fleet.records.prepared import Prepared
from fleet.rules.letters import WEEKLY, LetterState, Outcome
from fleet.rules.readers import usable_address
from fleet.settings import LETTERS_OFF, REDIRECTED

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection
    from sqlalchemy.sql import ColumnElement

    from fleet.settings import MailSettings

# The rounds knock every minute; a letter is tried again within the hour; letters go once a week.
ROUNDS_LATE = timedelta(minutes=5)
LETTER_LATE = timedelta(hours=4)
RUN_LATE = timedelta(days=8)
# Letters from before that are history: whoever still reads had thirteen others since.
WEEKS_BACK = 13


@dataclass(frozen=True, slots=True)
class DutyLine:
    """One thing that was looked at, whether it is in order, and one sentence on how it stands.

    What is not in order and never had ``begun`` still has to be set up; anything else has stopped.
    """

    what: str
    ok: bool
    sentence: str
    begun: bool = True


_COPY = aliased(LetterRow)
_LATER = aliased(LetterRow)


def _reached(letter: type[LetterRow]) -> ColumnElement[bool]:
    """Whether a letter went to its own reader, and not to somebody who looks at letters instead."""
    elsewhere = func.coalesce(letter.last_answer, "").startswith(REDIRECTED, autoescape=True)
    return and_(letter.state == LetterState.SENT, ~elsewhere)


_SINCE = LetterRow.week >= bindparam("since")
_AGO = bindparam("long_ago", type_=LetterRow.written_at.type)
_COPY_REACHED = exists().where(
    _COPY.kind == LetterRow.kind,
    _COPY.site_id == LetterRow.site_id,
    _COPY.week == LetterRow.week,
    or_(_COPY.address == LetterRow.address, _COPY.person_id == LetterRow.person_id),
    _reached(_COPY),
)
_OPEN = or_(LetterRow.state == LetterState.WRITTEN, LetterRow.state == LetterState.TAKEN)
# A letter that was written a moment ago does not yet spoil the run of its week.
_FAILED = and_(~_reached(LetterRow), or_(~_OPEN, LetterRow.written_at < _AGO), ~_COPY_REACHED)
_RUNS = Prepared(
    select(
        LetterSiteRow.site_id,
        LetterRow.week,
        func.min(LetterRow.written_at).label("written_at"),
        func.sum(case((_reached(LetterRow), 1), else_=0)).label("reached"),
        func.sum(case((_FAILED, 1), else_=0)).label("failed"),
    )
    .join(LetterSiteRow, LetterSiteRow.letter_id == LetterRow.id)
    # Not as the column stands: SQLite would rather read all weekly letters there are than those since a week.
    .where(LetterRow.kind.concat("") == WEEKLY, _SINCE)
    .group_by(LetterRow.week, LetterSiteRow.site_id)
    .order_by(LetterRow.week)
)
_OF_WEEK = (
    select(
        func.sum(case((_reached(LetterRow), 1), else_=0)).label("reached"),
        func.sum(case((or_(_reached(LetterRow), _COPY_REACHED), 0), else_=1)).label("others"),
    )
    .join(LetterSiteRow, LetterSiteRow.letter_id == LetterRow.id)
    .where(
        LetterRow.kind == WEEKLY,
        LetterRow.week == bindparam("week"),
        LetterSiteRow.site_id == bindparam("site"),
    )
)
# Written out as in the index of waiting letters. What may only go later, after quiet hours, is not late.
_WAITING = Prepared(
    select(func.count())
    .select_from(LetterRow)
    .where(
        text("state IN ('written', 'taken')"),
        LetterRow.written_at < _AGO,
        or_(LetterRow.turn > 0, LetterRow.not_before < _AGO),
    )
)
_STILL_READS = exists().where(
    RoleRow.person_id == LetterRow.person_id,
    PersonRow.id == LetterRow.person_id,
    PersonRow.active == true(),
)
# Once a later letter reached the same reader, or anybody of a site whose spare address failed, it is history.
_LOST_NOW = and_(
    LetterRow.state == LetterState.UNDELIVERABLE,
    _SINCE,
    or_(LetterRow.person_id.is_(None), _STILL_READS),
    ~exists().where(
        or_(
            _LATER.address == LetterRow.address,
            _LATER.person_id == LetterRow.person_id,
            and_(LetterRow.person_id.is_(None), _LATER.site_id == LetterRow.site_id),
        ),
        _LATER.id > LetterRow.id,
        _reached(_LATER),
    ),
)
_UNANSWERED = exists().where(
    LetterAttemptRow.letter_id == LetterRow.id,
    LetterAttemptRow.turn == LetterRow.turn,
    LetterAttemptRow.outcome == Outcome.NO_ANSWER,
)
_LOST = Prepared(
    select(
        func.count().label("lost"),
        func.coalesce(func.sum(case((_UNANSWERED, 1), else_=0)), 0).label("unanswered"),
    ).where(_LOST_NOW)
)
_ROUNDS = Prepared(select(HeartbeatRow.at).where(HeartbeatRow.name == "rounds"))
_NOTE = select(HeartbeatRow.note).where(HeartbeatRow.name == bindparam("name"))
_READERS = Prepared(
    select(SiteRow.id, SiteRow.code, PersonRow.address)
    .outerjoin(RoleRow, RoleRow.site_id == SiteRow.id)
    .outerjoin(PersonRow, and_(PersonRow.id == RoleRow.person_id, PersonRow.active == true()))
    .order_by(SiteRow.code)
    .distinct()
)


def duty(db: Connection, mail: MailSettings, *, clock: datetime) -> list[DutyLine]:
    """Look at everything that must not stop without anybody noticing. ``clock``: the machine's own time."""
    asked = {
        "since": iso_week(as_utc(clock).date() - timedelta(weeks=WEEKS_BACK)),
        "long_ago": clock - LETTER_LATE,
    }
    sites, unreached = _sites(db)
    return [
        *_settings(mail),
        _rounds(db, clock),
        *_runs(db, sites, asked, clock, on=mail.on),
        _waiting(db, asked),
        *_lost(db, asked),
        *unreached,
    ]


def in_short(lines: Sequence[DutyLine]) -> str | None:
    """What is not in order, as one line; nothing when all is."""
    amiss = [line.sentence for line in lines if not line.ok]
    if not amiss:
        return None
    first = amiss[0].partition(" See: ")[0].removesuffix(".")
    more = f", and {len(amiss) - 1} more" if len(amiss) > 1 else ""
    return f"Duty: {first[0].lower()}{first[1:]}{more}. See: fleet duty"


def run_complete(db: Connection, site_id: int, week: str) -> int:
    """How many letters of a week went out to their readers about a site; none unless all of them did."""
    row = db.execute(_OF_WEEK, {"site": site_id, "week": week}).one()
    return row.reached or 0 if not row.others else 0


def last_note(db: Connection, name: str) -> str | None:
    """What was noted at the last sign of life of that name."""
    note: str | None = db.execute(_NOTE, {"name": name}).scalar()
    return note


def _settings(mail: MailSettings) -> Iterator[DutyLine]:
    if not mail.on:
        yield DutyLine("letters", ok=False, sentence=LETTERS_OFF, begun=False)
        return
    where = "go to the mail server" if mail.host else "are laid into a folder"
    yield DutyLine("letters", ok=True, sentence=f"Letters are on: they {where} that is set.")
    if mail.redirect_to is not None:
        sentence = "Every letter goes to the address in mail.redirect_to instead of its reader."
        yield DutyLine("redirected", ok=False, sentence=sentence)
    if mail.allowed_domains:
        sentence = f"Letters go only to addresses at {', '.join(mail.allowed_domains)}."
        yield DutyLine("domains", ok=True, sentence=sentence)


def _rounds(db: Connection, clock: datetime) -> DutyLine:
    found = _ROUNDS.rows(db, {})
    beat = found[0].at if found else None
    if beat is None:
        sentence = "The rounds have never run; only they send letters by the clock. See: fleet rounds --help"
        return DutyLine("rounds", ok=False, sentence=sentence, begun=False)
    if clock - beat > ROUNDS_LATE:
        sentence = f"The rounds have not run since {beat:%d %b %Y %H:%M} UTC."
        return DutyLine("rounds", ok=False, sentence=sentence)
    return DutyLine("rounds", ok=True, sentence=f"The rounds ran at {beat:%H:%M} UTC.")


def _sites(db: Connection) -> tuple[dict[int, str], list[DutyLine]]:
    """The codes of all sites by id, and a line for each of which nobody can be written to."""
    sites: dict[int, str] = {}
    reached: set[int] = set()
    for row in _READERS.rows(db, {}):
        sites[row.id] = row.code
        if usable_address(row.address):
            reached.add(row.id)
    said = "Nobody with a role at {} has a usable e-mail address; only its spare address is written to."
    return sites, [
        DutyLine("readers", ok=False, sentence=said.format(code), begun=False)
        for site, code in sites.items()
        if site not in reached
    ]


def _runs(
    db: Connection, sites: dict[int, str], asked: dict[str, object], clock: datetime, *, on: bool
) -> Iterator[DutyLine]:
    """Sites whose last week of which every letter went out is too long ago."""
    complete: dict[int, tuple[str, datetime]] = {}
    written: set[int] = set()
    for row in _RUNS.rows(db, asked):
        written.add(row.site_id)
        if row.reached and not row.failed:
            complete[row.site_id] = row.week, row.written_at
    late = []
    for site, code in sites.items():
        if site not in written:
            # While letters are off that says it all.
            if on:
                sentence = f"No weekly letters of {code} were written in the last {WEEKS_BACK} weeks."
                late.append(DutyLine("weekly letters", ok=False, sentence=sentence, begun=False))
        elif site not in complete:
            sentence = f"In none of the last {WEEKS_BACK} weeks did all weekly letters of {code} go out."
            late.append(DutyLine("weekly letters", ok=False, sentence=sentence))
        elif clock - complete[site][1] > RUN_LATE:
            sentence = f"Since {complete[site][0]} the weekly letters of {code} did not all go out."
            late.append(DutyLine("weekly letters", ok=False, sentence=sentence))
    yield from late
    if sites and on and not late:
        yield DutyLine("weekly letters", ok=True, sentence="The weekly letters of every site went out.")


def _waiting(db: Connection, asked: dict[str, object]) -> DutyLine:
    ((waiting,),) = _WAITING.rows(db, asked)
    if not waiting:
        return DutyLine("waiting", ok=True, sentence="No letter waits for more than four hours.")
    some = "One letter has" if waiting == 1 else f"{waiting} letters have"
    return DutyLine("waiting", ok=False, sentence=f"{some} waited for more than four hours.")


def _lost(db: Connection, asked: dict[str, object]) -> Iterator[DutyLine]:
    (row,) = _LOST.rows(db, asked)
    see = "See: fleet letters list --state undeliverable"
    refused = row.lost - row.unanswered
    if refused:
        some = "One letter" if refused == 1 else f"{refused} letters"
        yield DutyLine("undeliverable", ok=False, sentence=f"{some} could not be delivered. {see}")
    if row.unanswered:
        some = "One letter was" if row.unanswered == 1 else f"{row.unanswered} letters were"
        sentence = f"{some} handed over without an answer; ask the reader whether it came. {see}"
        yield DutyLine("unanswered", ok=False, sentence=sentence)
    if not row.lost:
        yield DutyLine("undeliverable", ok=True, sentence="No letter is lost that was not made good since.")
