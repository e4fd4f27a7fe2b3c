"""What becomes of a letter: its states, what an answer of the mail server means, and when to try again."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import timedelta
from email.utils import parseaddr
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime

WEEKLY = "weekly"

# A lease must outlast any send: a shorter one makes doubles without anything having gone wrong.
LONGEST_SEND = timedelta(minutes=10)
LEASE = timedelta(minutes=15)
# Retries are limited by time and not by count: a busy or greylisting server is not a dead address.
GIVE_UP_AFTER = timedelta(hours=72)
# After each try: so long until the next one, later always the last.
_WAITS = (1, 5, 15, 30, 60)
# Each wait is up to a fifth shorter or longer: letters that failed together are not to knock together.
_LEAST, _MOST, _WHOLE = 800, 1200, 1000
# When it is our own fault nothing is won by knocking every minute, and an account may get locked.
PAUSE_AFTER_OUR_FAULT = timedelta(minutes=15)
# A letter handed over without an answer may have arrived: it is handed over once more after this, as often
# as that of a sender that died is after its lease, and then left to a person.
PAUSE_AFTER_NO_ANSWER = timedelta(minutes=15)
MOST_UNANSWERED = 2


class LetterState(StrEnum):
    """A letter is written, taken by a sender, then sent, or given up and shown to people."""

    WRITTEN = "written"
    TAKEN = "taken"
    SENT = "sent"
    UNDELIVERABLE = "undeliverable"


class Outcome(StrEnum):
    """How far an attempt came. One that stays at ``TAKEN`` or ``HANDING_OVER`` is that of a sender that died.

    ``NOT_PERMITTED``: the server does not let us send to this recipient, which may be due to either of us.
    ``NOT_OURS``: the letter was no longer that sender's, and was not handed over.
    """

    TAKEN = "taken"
    HANDING_OVER = "handing over"
    SENT = "sent"
    NO_ANSWER = "handed over, no answer"
    TRY_AGAIN = "try again"
    NOT_REACHED = "server not reached"
    REFUSED = "refused"
    NOT_PERMITTED = "not permitted"
    OUR_CONFIGURATION = "our configuration"
    NOT_OURS = "no longer ours"
    SET_ASIDE = "set aside"


class Stage(StrEnum):
    """How far the talk with the mail server had come when it answered."""

    GREETING = "greeting"
    LOGIN = "login"
    SENDER = "sender"
    RECIPIENT = "recipient"
    CONTENT = "content"
    ANSWER = "answer"


@dataclass(frozen=True, slots=True)
class Content:
    """What one letter says: subject line, plain text, HTML, and the calendar (RFC 5545) that goes along."""

    subject: str
    plain: str
    html: str
    calendar: str | None = None


@dataclass(frozen=True, slots=True)
class Delivery:
    """What one attempt came to, with the answer as the server or the machine gave it."""

    outcome: Outcome
    answer: str


# Reply codes of RFC 5321, section 4.2.3, and RFC 4954; enhanced codes of RFC 3463.
_CLOSING, _LOGIN_REQUIRED, _TOO_LONG = 421, 530, 552
_MAILBOX_FULL = re.compile(r"\b5\.2\.2\b")
# Servers without enhanced codes say it in words.
_NOT_ALLOWED = re.compile(r"\b5\.7\.[0-9]|\brelay", re.IGNORECASE)

OUR_FAULTS = frozenset({Outcome.OUR_CONFIGURATION, Outcome.NOT_PERMITTED})
# Of an outcome that concerns every letter, the others are not made to suffer.
ENDS_THE_RUN = OUR_FAULTS | {Outcome.NOT_REACHED}
BEGINNINGS = (Outcome.TAKEN, Outcome.HANDING_OVER)
# After these nobody knows whether a letter that was handed over has arrived.
UNKNOWN = (*BEGINNINGS, Outcome.NO_ANSWER, Outcome.SET_ASIDE)


def classify(stage: Stage, code: int, answer: str) -> Outcome:
    """What another reply than the awaited one means, by RFC 5321 (4xx transient, 5xx permanent) and 3463.

    A permanent answer to the greeting, the login or our sender address concerns every letter: it is our
    configuration, and no letter is given up for it. So is x.7.x, which speaks of what we may and not of the
    recipient; for one recipient alone it may be meant all the same. A full mailbox is permanent to some
    servers and passes. Once the whole content is handed over, only a reply that says no means no.
    """
    permanent = 500 <= code <= 599  # noqa: PLR2004  Anything else is transient, or no reply code at all.
    before_any_letter = stage in (Stage.GREETING, Stage.LOGIN)
    if stage is Stage.ANSWER and not 400 <= code <= 599:  # noqa: PLR2004  The codes that say no.
        return Outcome.NO_ANSWER
    if code == _CLOSING or (before_any_letter and not permanent):
        return Outcome.NOT_REACHED
    full = stage is Stage.RECIPIENT and (code == _TOO_LONG or _MAILBOX_FULL.search(answer))
    if full or not permanent:
        return Outcome.TRY_AGAIN
    # 552 to a sender who announced the size means that this one letter is too long for the server.
    ours = before_any_letter or (stage is Stage.SENDER and code != _TOO_LONG)
    if ours or code == _LOGIN_REQUIRED:
        return Outcome.OUR_CONFIGURATION
    if _NOT_ALLOWED.search(answer):
        return Outcome.NOT_PERMITTED if stage is Stage.RECIPIENT else Outcome.OUR_CONFIGURATION
    return Outcome.REFUSED


@dataclass(frozen=True, slots=True)
class Turn:
    """One turn of a letter: when the letter is given up, and how many turns before had no answer."""

    letter: int
    number: int
    give_up_at: datetime
    unanswered: int = 0


def scattered(wait: timedelta, turn: Turn) -> timedelta:
    """The wait, up to a fifth shorter or longer; for the same turn of the same letter always the same."""
    drawn = hashlib.sha256(f"{turn.letter} {turn.number}".encode()).digest()[:8]
    share = _LEAST + int.from_bytes(drawn) % (_MOST - _LEAST + 1)
    return wait * share // _WHOLE


def backoff(turn: Turn, now: datetime) -> timedelta:
    """How long to wait after a failed try: 1, 5, 15, 30 minutes, then an hour, each scattered.

    By the time since the first try: a try that ended with the sender's death must not count.
    """
    waited = now - (turn.give_up_at - GIVE_UP_AFTER)
    passed = timedelta()
    for minutes in _WAITS:
        passed += timedelta(minutes=minutes)
        # The waits before may all have been the shortest.
        if waited < passed * _LEAST // _WHOLE:
            return scattered(timedelta(minutes=minutes), turn)
    return scattered(timedelta(minutes=_WAITS[-1]), turn)


@dataclass(frozen=True, slots=True)
class Fate:
    """What becomes of a letter after an attempt, and the answer that is kept with it."""

    state: LetterState
    not_before: datetime
    answer: str


def time_starts(last_outcome: str | None) -> bool:
    """Whether a letter's 72 hours start with this try: with its first, and anew after a fault of our own.

    A week without a running sender, or with a wrong password, gives no letter up.
    """
    return last_outcome is None or last_outcome in OUR_FAULTS


def fate(delivery: Delivery, turn: Turn, now: datetime) -> Fate:
    """The state of a letter after an attempt that ended now."""
    answer = delivery.answer
    match delivery.outcome:
        case Outcome.SENT:
            return Fate(LetterState.SENT, now, answer)
        case Outcome.REFUSED:
            return Fate(LetterState.UNDELIVERABLE, now, answer)
        case Outcome.OUR_CONFIGURATION | Outcome.NOT_PERMITTED:
            # Not the letter has to wait but the sending; it only goes behind those that were not tried.
            return Fate(LetterState.WRITTEN, now, answer)
        case Outcome.NO_ANSWER:
            return _after_no_answer(answer, turn, now)
        case _ if now >= turn.give_up_at:
            return Fate(LetterState.UNDELIVERABLE, now, answer)
        case _:
            return Fate(LetterState.WRITTEN, now + backoff(turn, now), answer)


def _after_no_answer(answer: str, turn: Turn, now: datetime) -> Fate:
    """Once more after a pause; a person has to decide about a third time, because two may have arrived."""
    if turn.unanswered + 1 >= MOST_UNANSWERED:
        why = f"Handed over twice without an answer, it may have arrived twice: ask the reader. {answer}"
        return Fate(LetterState.UNDELIVERABLE, now, why)
    if now >= turn.give_up_at:
        why = f"Handed over without an answer, it may have arrived: ask the reader. {answer}"
        return Fate(LetterState.UNDELIVERABLE, now, why)
    return Fate(LetterState.WRITTEN, now + scattered(PAUSE_AFTER_NO_ANSWER, turn), answer)


def not_sent_again() -> Delivery:
    """What is noted for a letter whose senders died twice while they handed it over: no third time."""
    return Delivery(Outcome.NO_ANSWER, "Both of its senders ended before an answer came.")


def domain_of(sender: str) -> str:
    """The domain of the sender's address, under which letters and lists are named."""
    _, at, domain = parseaddr(sender)[1].rpartition("@")
    return domain if at and domain else "localhost.localdomain"


def message_id(kind: str, site: str, week: str, address: str, copy_no: int, *, domain: str) -> str:
    """The same letter always bears the same Message-ID, so that a mailbox can tell a second arrival."""
    named = "\0".join((kind, site, week, address.casefold(), str(copy_no)))
    return f"<{kind.replace(' ', '-')}-{week}-{hashlib.sha256(named.encode()).hexdigest()[:32]}@{domain}>"


def content_digest(content: Content) -> str:
    """SHA-256 over everything that is read in a letter."""
    said = f"{content.subject}\0{content.plain}\0{content.html}"
    if content.calendar is not None:
        said += f"\0{content.calendar}"
    return hashlib.sha256(said.encode()).hexdigest()
