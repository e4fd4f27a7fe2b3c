"""What happens by the clock: what nobody fetched is given up, what cannot wait is told, letters are sent.

The scheduler only knocks. What is due is decided by the database and the site's own time, so that a late, a
doubled or a missing knock changes nothing.
"""

from __future__ import annotations

import logging
import os
import socket
import time
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, TypeVar

from fleet.desk.heartbeats import ROUNDS, beat
from fleet.desk.letters import Written, write_letters
from fleet.desk.passing_on import PassedOn, pass_on
from fleet.desk.reserved import expire_reservations
from fleet.desk.sending import mark, renew, take_letter
from fleet.desk.telling import ToldAtOnce, tell_at_once
from fleet.lists.letters import last_attempt, waiting
from fleet.lists.matters import untold
from fleet.lists.passing_on import passings
from fleet.lists.readers import Roll
from fleet.lists.reservations import expired
from fleet.lists.sites import sites
from fleet.measures.times import last_letter_due, zone
from fleet.pinging import ping_complete
from fleet.refusals import Refusal
from fleet.rules.letters import (
    ENDS_THE_RUN,
    MOST_UNANSWERED,
    OUR_FAULTS,
    PAUSE_AFTER_OUR_FAULT,
    LetterState,
    not_sent_again,
)
from fleet.rules.people import THE_CLOCK

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine
    from fleet.mail.messages import TakenLetter
    from fleet.mail.post import Post
    from fleet.room import Room
    from fleet.rules.letters import Delivery

# A round takes no further letter after this, so that a server that keeps everybody waiting cannot keep the
# rounds from their other work and from their sign of life.
ROUND_LASTS = timedelta(minutes=2)
# A letter that was handed over must be marked: a database that is busy is asked so often.
TRIES = 5

T = TypeVar("T")

log = logging.getLogger("fleet.rounds")


@dataclass(frozen=True, slots=True)
class Sent:
    """What a sending run came to. ``stopped`` says why it ended before its time."""

    sent: int
    undeliverable: int
    waiting: int
    stopped: str | None = None


@dataclass(frozen=True, slots=True)
class Round:
    """What one round did; ``failed`` names what could not be done, and why."""

    written: tuple[Written, ...]
    sent: Sent
    failed: tuple[str, ...]
    told: tuple[ToldAtOnce, ...] = ()
    passed_on: tuple[PassedOn, ...] = ()

    def __str__(self) -> str:
        written = sum(len(run.to) for run in self.written)
        told = f"{len(self.told)} at once, " if self.told else ""
        passed = f"{len(self.passed_on)} passed on, " if self.passed_on else ""
        said = f"{told}{passed}{written} written, {self.sent.sent} sent, {self.sent.waiting} waiting"
        return "; ".join((said, *self.failed, *((self.sent.stopped,) if self.sent.stopped else ())))


def tick(room: Room, post: Post | None, *, go_on: Callable[[], bool] = lambda: True) -> Round:
    """One round: give up what was not fetched, see to the letters, sign; no letters without a post."""
    failed = _give_up(room)
    done = _no_letters(room, failed) if post is None else _letters(room, post, failed, go_on)
    with room.act() as db:
        beat(db, ROUNDS, str(done), now=room.clock())
    return done


def _no_letters(room: Room, failed: list[str]) -> Round:
    with room.look() as db:
        return Round((), Sent(0, 0, waiting(db)), tuple(failed))


def _letters(room: Room, post: Post, failed: list[str], go_on: Callable[[], bool]) -> Round:
    """Tell what cannot wait, write what is due, pass on what nobody read, send, and say when all went out."""
    told, untellable = tell_now(room)
    written, unwritten = write_due(room)
    passed, kept = pass_on_due(room)
    failed += dict.fromkeys((*untellable, *unwritten, *kept))
    late = room.clock() + ROUND_LASTS
    sent = send_waiting(room, post, patient=True, go_on=lambda: go_on() and room.clock() < late)
    ping_complete(room)
    return Round(tuple(written), sent, tuple(failed), told, passed)


def _give_up(room: Room) -> list[str]:
    """End reservations that nobody fetched in time; what failed, if it did, and the letters go on."""
    try:
        with room.look() as db:
            if not expired(db, room.now(db)):
                return []
        with room.act() as db:
            for line in expire_reservations(db, now=room.now(db)):
                log.info("The reservation of %s for %s was given up: not fetched.", line.tag, line.job)
    except Exception as error:
        log.exception("Reservations that were not fetched could not be given up.")
        return [f"reservations: {error if isinstance(error, Refusal) else type(error).__name__}"]
    return []


def tell_now(room: Room) -> tuple[tuple[ToldAtOnce, ...], list[str]]:
    """Write to everybody still to be told at once of what stands now; answers what could not be told too."""
    failed: list[str] = []
    due: list[SiteLine] = []
    with room.look() as db:
        now = room.now(db)
        for site in sites(db):
            with _noted(site, failed):
                if untold(db, site, now):
                    due.append(site)
    if not due:
        return (), failed
    sender, pages = room.settings.mail.sender, room.settings.pages
    try:
        with room.act() as db:
            return tell_at_once(db, due, sender=sender, pages=pages, now=room.now(db)), failed
    except Exception as error:
        log.exception("What cannot wait could not be told.")
        return (), [*failed, f"at once: {error if isinstance(error, Refusal) else type(error).__name__}"]


def write_due(room: Room) -> tuple[list[Written], list[str]]:
    """Write what is missing of each site's last letter day; of weeks before it none is written late.

    Answers what was written, and which sites' letters could not be written and why: one site's trouble must
    not leave the others without their letters.
    """
    due: list[SiteLine] = []
    written: list[Written] = []
    failed: list[str] = []
    with room.look() as db:
        roll, now = Roll(db), room.now(db)
        for site in sites(db):
            with _noted(site, failed):
                if roll.missing(site, _due_week(site, now), now).to:
                    due.append(site)
    for site in due:
        with _noted(site, failed):
            written.append(_write_due(room, site))
    return written, failed


def pass_on_due(room: Room) -> tuple[tuple[PassedOn, ...], list[str]]:
    """Pass on letters that nobody said they had read, and those that were lost; what failed, if it did."""
    sender = room.settings.mail.sender
    try:
        with room.look() as db:
            if not passings(db, room.now(db)):
                return (), []
        with room.act() as db:
            return pass_on(db, sender=sender, pages=room.settings.pages, now=room.now(db)), []
    except Exception as error:
        log.exception("Letters could not be passed on.")
        return (), [f"passing on: {error if isinstance(error, Refusal) else type(error).__name__}"]


@contextmanager
def _noted(site: SiteLine, failed: list[str]) -> Iterator[None]:
    """Log what goes wrong at one site, note it among what failed, and go on."""
    try:
        yield
    except Exception as error:
        log.exception("The letters of %s could not be written.", site.code)
        failed.append(f"{site.code}: {error if isinstance(error, Refusal) else type(error).__name__}")


def _write_due(room: Room, site: SiteLine) -> Written:
    with room.act() as db:
        now = room.now(db)
        week, sender, pages = _due_week(site, now), room.settings.mail.sender, room.settings.pages
        return write_letters(db, site, week, sender=sender, pages=pages, by=THE_CLOCK, now=now)


def _due_week(site: SiteLine, now: datetime) -> str:
    return last_letter_due(now, zone(site.time_zone), site.letter_weekday, site.letter_hour)[0]


def send_waiting(
    room: Room,
    post: Post,
    *,
    patient: bool = False,
    go_on: Callable[[], bool] = lambda: True,
) -> Sent:
    """Send what waits, one letter at a time; no transaction is open while the post has a letter.

    Every letter gets one try. A fault that concerns them all ends the run; after one of our own making, a
    ``patient`` run begins only when the pause is over.
    """
    with room.look() as db:
        fault = last_attempt(db)
        ours = fault is not None and fault.outcome in OUR_FAULTS
        tries = waiting(db)
        if patient and fault and ours and room.now(db) < fault.at + PAUSE_AFTER_OUR_FAULT:
            return Sent(0, 0, tries, fault.answer)
    sender_id = f"{socket.gethostname()}:{os.getpid()}"
    states: list[LetterState] = []
    stopped = None
    with post.together():
        while go_on() and len(states) < tries and stopped is None:
            taken = _surely(room, lambda db, now: take_letter(db, sender_id, now))
            if taken is None:
                break
            delivery = _deliver(room, post, taken)
            states.append(_mark(room, taken, delivery))
            log.info("Letter %s of %s to %s: %s", taken.number, taken.site, taken.badge, delivery.outcome)
            # What concerned all letters at first may turn out to concern this one alone.
            if delivery.outcome in ENDS_THE_RUN and states[-1] is not LetterState.UNDELIVERABLE:
                stopped = delivery.answer
    with room.look() as db:
        left = waiting(db)
    return Sent(states.count(LetterState.SENT), states.count(LetterState.UNDELIVERABLE), left, stopped)


def _deliver(room: Room, post: Post, taken: TakenLetter) -> Delivery:
    """Hand a letter to the post, which asks once more whether it is ours when the server is ready for it."""
    if taken.unanswered >= MOST_UNANSWERED:
        return not_sent_again()
    return post.send(taken, lambda letter: _surely(room, lambda db, now: renew(db, letter, now)))


def _mark(room: Room, taken: TakenLetter, delivery: Delivery) -> LetterState:
    return _surely(room, lambda db, now: mark(db, taken, delivery, now))


def _surely(room: Room, act: Callable[[Connection, datetime], T]) -> T:
    """Do one act in a transaction of its own; a database that is busy is asked again."""
    for _ in range(TRIES - 1):
        try:
            with room.act() as db:
                return act(db, room.now(db))
        except Refusal as trouble:
            log.warning("Not noted yet: %s", trouble)
            time.sleep(1)
    with room.act() as db:
        return act(db, room.now(db))
