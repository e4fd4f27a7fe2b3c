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
# When it is our own fault nothing is won by knocking every minute, and an account may get locked.
PAUSE_AFTER_OUR_FAULT = timedelta(minutes=15)


class LetterState(StrEnum):
    """A letter is written, taken by a sender, then sent, or given up and shown to people."""

    WRITTEN = "written"
    TAKEN = "taken"
    SENT = "sent"
    UNDELIVERABLE = "undeliverable"


class Outcome(StrEnum):
    """How an attempt ended. One that stays at ``TAKEN`` is that of a sender that died."""

    TAKEN = "taken"
    SENT = "sent"
    TRY_AGAIN = "try again"
    NOT_REACHED = "server not reached"
    REFUSED = "refused"
    OUR_CONFIGURATION = "our configuration"
    SET_ASIDE = "set aside"


class Stage(StrEnum):
    """How far the talk with the mail server had come when it answered."""

    GREETING = "greeting"
    LOGIN = "login"
    SENDER = "sender"
    RECIPIENT = "recipient"
    CONTENT = "content"


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
_NOT_ALLOWED = re.compile(r"\b5\.7\.[0-9]")

# Of an outcome that concerns every letter, the others are not made to suffer.
ENDS_THE_RUN = frozenset({Outcome.NOT_REACHED, Outcome.OUR_CONFIGURATION})


def classify(stage: Stage, code: int, answer: str) -> Outcome:
    """What a refusing reply means, by RFC 5321 (4xx transient, 5xx permanent) and RFC 3463 (enhanced codes).

    A permanent answer to the greeting, the login or our sender address concerns every letter: it is our
    configuration, and no letter is given up for it. So is x.7.x, which speaks of what we may and not of the
    recipient. A full mailbox is permanent to some servers and passes all the same.
    """
    permanent = 500 <= code <= 599  # noqa: PLR2004  Anything else is transient, or no reply code at all.
    before_any_letter = stage in (Stage.GREETING, Stage.LOGIN)
    if code == _CLOSING or (before_any_letter and not permanent):
        return Outcome.NOT_REACHED
    full = stage is Stage.RECIPIENT and (code == _TOO_LONG or _MAILBOX_FULL.search(answer))
    if full or not permanent:
        return Outcome.TRY_AGAIN
    # 552 to a sender who announced the size means that this one letter is too long for the server.
    ours = before_any_letter or (stage is Stage.SENDER and code != _TOO_LONG)
    if ours or code == _LOGIN_REQUIRED or _NOT_ALLOWED.search(answer):
        return Outcome.OUR_CONFIGURATION
    return Outcome.REFUSED


def backoff(first_try: datetime, now: datetime) -> timedelta:
    """How long to wait after a failed try: 1, 5, 15, 30 minutes, then an hour.

    By the time since the first try: a try that ended with the sender's death must not count.
    """
    waited = (now - first_try) / timedelta(minutes=1)
    passed = 0
    for wait in _WAITS:
        passed += wait
        if waited < passed:
            return timedelta(minutes=wait)
    return timedelta(minutes=_WAITS[-1])


@dataclass(frozen=True, slots=True)
class Fate:
    """What becomes of a letter after an attempt. ``give_up_at`` is 72 hours after its time started."""

    state: LetterState
    not_before: datetime
    give_up_at: datetime


def time_starts(last_outcome: str | None) -> bool:
    """Whether a letter's 72 hours start with this try: with its first, and anew after a fault of our own.

    A week without a running sender, or with a wrong password, gives no letter up.
    """
    return last_outcome in (None, Outcome.OUR_CONFIGURATION)


def fate(delivery: Delivery, give_up_at: datetime, now: datetime) -> Fate:
    """The state of a letter after an attempt that ended now."""
    match delivery.outcome:
        case Outcome.SENT:
            return Fate(LetterState.SENT, now, give_up_at)
        case Outcome.REFUSED:
            return Fate(LetterState.UNDELIVERABLE, now, give_up_at)
        case Outcome.OUR_CONFIGURATION:
            # Not the letter has to wait but the sending; it only goes behind those that were not tried.
            return Fate(LetterState.WRITTEN, now, give_up_at)
        case _:
            if now >= give_up_at:
                return Fate(LetterState.UNDELIVERABLE, now, give_up_at)
            return Fate(LetterState.WRITTEN, now + backoff(give_up_at - GIVE_UP_AFTER, now), give_up_at)


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
