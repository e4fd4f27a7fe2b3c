"""Getting in and out.

Who may not come in is told so, and the try is kept: therefore these acts answer a refusal instead of raising
it, and their transaction is committed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import and_, bindparam, insert, update

from fleet.ledgers.access import begin_session, keep_login
from fleet.lists.access import (
    ENTERED,
    FAILED,
    failures,
    login_of,
    station_of,
)
from fleet.records import (
    LoginAttemptRow,
    LoginRow,
    SessionRow,
)
from fleet.records.base import rows_of
from fleet.rules.access import (
    Entry,
    step_of,
    wait_after,
)
from fleet.rules.secrets import digest_of, hash_secret, is_outdated, is_secret, new_token

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.access import LoginFacts, Visitor

_LOGINS, _SESSIONS = rows_of(LoginRow), rows_of(SessionRow)
_TRIED = insert(rows_of(LoginAttemptRow))
_SEEN_EVERY = timedelta(minutes=1)
_OPEN = and_(_SESSIONS.c.person_id == bindparam("person"), _SESSIONS.c.ended_at.is_(None))
_END_ONE = (
    update(_SESSIONS).where(_OPEN, _SESSIONS.c.id == bindparam("session")).values(ended_at=bindparam("now"))
)

WRONG = "The badge, the password or the code is wrong."
WRONG_PIN = "The badge or the PIN is wrong."


@dataclass(frozen=True, slots=True)
class Credentials:
    """What somebody typed to get in; ``code`` is that of the second factor."""

    badge: str
    password: str
    code: str = ""


def log_in(
    db: Connection, typed: Credentials, origin: str, browser: str, *, now: datetime, clock: datetime
) -> Entry:
    """Let somebody in by badge and password, and by a code where one was set up.

    The code goes by ``clock``, the machine's own: the room's time may be ahead of it, a telephone's is not.
    The answer is the same whatever was wrong. Officers and administrators have to set a second factor up;
    until they have, the pages ask for it before anything else.
    """
    if waiting := _wait(db, typed.badge, origin, now):
        return waiting
    facts = login_of(db, typed.badge)
    right = is_secret(facts.password_hash if facts else None, typed.password)
    if facts is None or not right or not _code_is_right(db, facts, typed.code, clock):
        return _turned_away(db, typed.badge, origin, WRONG, now)
    if facts.password_hash and is_outdated(facts.password_hash):
        keep_login(db, facts.person_id, {"password_hash": hash_secret(typed.password), "changed_at": now})
    return _come_in(db, facts, None, origin, browser, now)


def badge_in(
    db: Connection,
    station_token: str | None,
    badge: str,
    pin: str,
    origin: str,
    browser: str,
    *,
    now: datetime,
) -> Entry:
    """Let somebody in at an enrolled counter by badge and PIN."""
    station = station_of(db, station_token)
    if station is None:
        return Entry(None, "This browser is not enrolled as a counter; log in with your password.")
    # What fails elsewhere under this badge keeps nobody from the counter: strangers could do it on purpose.
    if waiting := _wait(db, "", f"station {station[0]}", now):
        return waiting
    facts = login_of(db, badge)
    if not is_secret(facts.pin_hash if facts else None, pin) or facts is None:
        return _turned_away(db, badge, f"station {station[0]}", WRONG_PIN, now)
    return _come_in(db, facts, station[0], origin, browser, now)


def log_out(db: Connection, visitor: Visitor, session: int | None = None, *, now: datetime) -> None:
    """End this session, or another one of the same person."""
    asked = {"person": visitor.person_id, "session": session or visitor.session_id, "now": now}
    db.execute(_END_ONE, asked)


def confirm(
    db: Connection,
    visitor: Visitor,
    typed: Credentials,
    origin: str,
    *,
    now: datetime,
    clock: datetime,
) -> Entry:
    """Let somebody prove anew that it is still them: for what must not be done by whoever passes by."""
    if waiting := _wait(db, visitor.badge, origin, now):
        return waiting
    facts = login_of(db, visitor.badge)
    right = is_secret(facts.password_hash if facts else None, typed.password)
    if facts is None or not right or not _code_is_right(db, facts, typed.code, clock):
        return _turned_away(db, visitor.badge, origin, "The password or the code is wrong.", now)
    token = new_token()
    changed = update(_SESSIONS).where(_SESSIONS.c.id == visitor.session_id)
    db.execute(changed.values(confirmed_at=now, seen_at=now, token_sha256=digest_of(token)))
    return Entry(token)


def is_to_be_noted(visitor: Visitor, now: datetime) -> bool:
    """Whether it was a while ago that the session was last noted to be in use."""
    return now - visitor.times.seen_at >= _SEEN_EVERY


def see(db: Connection, visitor: Visitor, now: datetime) -> None:
    """Note that a session is in use, at most once a minute."""
    if is_to_be_noted(visitor, now):
        db.execute(update(_SESSIONS).where(_SESSIONS.c.id == visitor.session_id).values(seen_at=now))


def _wait(db: Connection, badge: str, origin: str, now: datetime) -> Entry | None:
    for failed in failures(db, badge.strip(), origin, now):
        if waits := wait_after(failed, now):
            minutes = max(1, -(-int(waits.total_seconds()) // 60))
            return Entry(None, f"Too many tries failed. Wait {minutes} min, then try again.")
    return None


def _code_is_right(db: Connection, facts: LoginFacts, code: str, clock: datetime) -> bool:
    if facts.totp_secret is None:
        return True
    step = step_of(facts.totp_secret, code, clock, facts.totp_step)
    if step is None:
        return False
    # Of two at once with the same code only one changes the row.
    unused = _LOGINS.c.totp_step.is_(None) | (_LOGINS.c.totp_step < step)
    mine = update(_LOGINS).where(_LOGINS.c.person_id == facts.person_id, unused).values(totp_step=step)
    return db.execute(mine).rowcount == 1


def _turned_away(db: Connection, badge: str, origin: str, sentence: str, now: datetime) -> Entry:
    db.execute(_TRIED, {"at": now, "badge": badge.strip()[:100], "origin": origin, "outcome": FAILED})
    return Entry(None, sentence)


def _come_in(
    db: Connection, facts: LoginFacts, station: int | None, origin: str, browser: str, now: datetime
) -> Entry:
    db.execute(_TRIED, {"at": now, "badge": facts.badge, "origin": origin, "outcome": ENTERED})
    return Entry(begin_session(db, facts.person_id, station, browser, now))
