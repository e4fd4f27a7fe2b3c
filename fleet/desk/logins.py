"""Log-ins: invitations, passwords, PINs, the second factor, and counter stations.

The day book knows of all of it but the secrets.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import and_, bindparam, insert, select, update

from fleet.ledgers import daybook
from fleet.ledgers.access import begin_session, keep_login
from fleet.lists.access import (
    anybody_can_log_in,
    invited,
    login_of,
)
from fleet.lists.people import find_person
from fleet.records import (
    InvitationRow,
    LoginRow,
    PersonRow,
    SessionRow,
    StationRow,
    TokenRow,
)
from fleet.records.base import rows_of
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.access import (
    FIRST_INVITATION_LASTS,
    INVITATION_LASTS,
    Entry,
    check_password,
    check_pin,
    step_of,
)
from fleet.rules.daybook import ROOM_CHAIN
from fleet.rules.people import SETTING_UP, Actor
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role
from fleet.rules.secrets import digest_of, hash_secret, new_token

if TYPE_CHECKING:
    from datetime import datetime, timedelta

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor

_LOGINS, _SESSIONS, _PEOPLE = rows_of(LoginRow), rows_of(SessionRow), rows_of(PersonRow)
_INVITATIONS, _STATIONS = rows_of(InvitationRow), rows_of(StationRow)
_OPEN = and_(_SESSIONS.c.person_id == bindparam("person"), _SESSIONS.c.ended_at.is_(None))
_END_ALL = update(_SESSIONS).where(_OPEN).values(ended_at=bindparam("now"))
_TOKENS = rows_of(TokenRow)
_END_TOKENS = (
    update(_TOKENS)
    .where(_TOKENS.c.person_id == bindparam("person"), _TOKENS.c.ended_at.is_(None))
    .values(ended_at=bindparam("now"))
)
_IS_ADMINISTRATOR = select(PersonRow.administrator).where(PersonRow.id == bindparam("person"))

# --- Invitations --------------------------------------------------------------------------------------------


def invite_first(db: Connection, badge: str, *, by: Actor, now: datetime) -> str:
    """Make somebody the administrator of a room nobody can log in to yet; answers the token of their link.

    Whoever can run this on the machine has the database in hand anyway; so it needs no role.
    """
    if anybody_can_log_in(db):
        raise NotPossible("Somebody can log in already; an administrator invites everybody else.")
    person = find_person(db, badge)
    if not person.active:
        raise NotPossible(f"{person.name} is no longer active.")
    db.execute(update(_PEOPLE).where(_PEOPLE.c.id == person.id).values(administrator=True))
    return _invite(db, person.id, person.badge, by, now, FIRST_INVITATION_LASTS)


def invite(db: Connection, badge: str, *, by: Actor, now: datetime) -> str:
    """Let somebody set a password, also when it was forgotten; answers the token of the link."""
    _require_administrator(db, by)
    person = find_person(db, badge)
    if not person.active:
        raise NotPossible(f"{person.name} is no longer active.")
    return _invite(db, person.id, person.badge, by, now, INVITATION_LASTS)


def _invite(db: Connection, person: int, badge: str, by: Actor, now: datetime, lasts: timedelta) -> str:
    token = new_token()
    row = {
        "person_id": person,
        "token_sha256": digest_of(token),
        "made_at": now,
        "made_by_id": by.id,
        "expires_at": now + lasts,
    }
    db.execute(insert(_INVITATIONS), row)
    _enter(db, by, now, "invited to log in", badge)
    return token


def set_password(db: Connection, token: str, password: str, browser: str, *, now: datetime) -> Entry:
    """Set the password that an invitation allows, end every session and token, and begin a new session.

    The second factor stays: a new password does not get around it.
    """
    facts = invited(db, token, now)
    if facts is None:
        raise NotPossible("This link was used already, or is too old. Ask an administrator for another.")
    check_password(password, (facts.badge, facts.name))
    keep_login(db, facts.person_id, {"password_hash": hash_secret(password), "changed_at": now})
    used = update(_INVITATIONS).where(_INVITATIONS.c.token_sha256 == digest_of(token)).values(used_at=now)
    db.execute(used)
    _end_everything(db, facts.person_id, now)
    _enter(db, Actor(facts.person_id, facts.name), now, "password set", facts.badge)
    if facts.totp_secret:
        return Entry(None, "The password is set. Log in with it and with a code.")
    return Entry(begin_session(db, facts.person_id, None, browser, now))


# --- One's own log-in ---------------------------------------------------------------------------------------


def set_pin(db: Connection, visitor: Visitor, pin: str, *, now: datetime) -> None:
    """Set one's own PIN for the counter."""
    kept = update(_LOGINS).where(_LOGINS.c.person_id == visitor.person_id)
    db.execute(kept.values(pin_hash=hash_secret(check_pin(pin))))
    _enter(db, visitor.actor, now, "PIN set", visitor.badge)


def set_second_factor(
    db: Connection, visitor: Visitor, secret: str, code: str, *, now: datetime, clock: datetime
) -> None:
    """Set the second factor up, when a first code shows that the secret arrived; all other sessions end.

    Codes go by ``clock``, the machine's own.
    """
    step = step_of(secret, code, clock, None)
    if step is None:
        raise NotPossible("That is not the code of this moment. Type the one that is shown now.")
    kept = update(_LOGINS).where(_LOGINS.c.person_id == visitor.person_id)
    db.execute(kept.values(totp_secret=secret, totp_step=step))
    others = update(_SESSIONS).where(_OPEN, _SESSIONS.c.id != visitor.session_id)
    db.execute(others.values(ended_at=now), {"person": visitor.person_id})
    _enter(db, visitor.actor, now, "second factor set up", visitor.badge)


def forget_second_factor(db: Connection, badge: str, reason: str, *, by: Actor, now: datetime) -> None:
    """Whoever lost their telephone sets a new one up at the next log-in; all their sessions end.

    There is no page for it: it takes whoever runs the machine, so that a password alone never gets this far.
    """
    facts = login_of(db, badge)
    if facts is None or facts.totp_secret is None:
        raise NotFound(f"Nobody with the badge {badge!r} has a second factor.")
    body = {"reason": written_reason(reason, "how you made sure that it is them")}
    theirs = update(_LOGINS).where(_LOGINS.c.person_id == facts.person_id)
    db.execute(theirs.values(totp_secret=None, totp_step=None))
    _end_everything(db, facts.person_id, now)
    daybook.enter(db, ROOM_CHAIN, by=by, now=now, act="second factor forgotten", about=facts.badge, body=body)


def set_units(db: Connection, visitor: Visitor, pressure: str | None, torque: str | None) -> None:
    """Set the units that one reads; none of one's own: those of the site."""
    kept = update(_PEOPLE).where(_PEOPLE.c.id == visitor.person_id)
    db.execute(kept.values(pressure_unit=pressure, torque_unit=torque))


# --- Stations -----------------------------------------------------------------------------------------------


def enrol_station(
    db: Connection, site_id: int, site_name: str, name: str, *, by: Actor, now: datetime
) -> str:
    """Make this browser a counter of a site, where a badge and a PIN are enough; answers its token."""
    if not any((site_id, role) in by.roles for role in (Role.KEEPER, Role.SAFETY)):
        _require_administrator(db, by)
    if not name.strip():
        raise NotPossible(f"Give the counter at {site_name} a name.")
    token = new_token()
    row = {
        "site_id": site_id,
        "name": name.strip()[:60],
        "token_sha256": digest_of(token),
        "enrolled_at": now,
        "enrolled_by_id": by.id,
    }
    db.execute(insert(_STATIONS), row)
    _enter(db, by, now, "counter enrolled", name.strip()[:60])
    return token


def end_station(db: Connection, station: int, *, by: Actor, now: datetime) -> None:
    """End a counter: its browser needs passwords again, and whoever is logged in there is out."""
    _require_administrator(db, by)
    open_one = (_STATIONS.c.id == station) & _STATIONS.c.ended_at.is_(None)
    if not db.execute(update(_STATIONS).where(open_one).values(ended_at=now)).rowcount:
        raise NotFound("There is no such counter, or it was ended already.")
    _enter(db, by, now, "counter ended", str(station))


def _require_administrator(db: Connection, by: Actor) -> None:
    if by is not SETTING_UP and not db.execute(_IS_ADMINISTRATOR, {"person": by.id}).scalar():
        raise NotAllowed(f"{by.name} is not an administrator; only an administrator may do this.")


def _end_everything(db: Connection, person: int, now: datetime) -> None:
    """End every session and every token of somebody: whoever knew the old secret may have made them."""
    db.execute(_END_ALL, {"person": person, "now": now})
    db.execute(_END_TOKENS, {"person": person, "now": now})


def _enter(db: Connection, by: Actor, now: datetime, act: str, about: str) -> None:
    daybook.enter(db, ROOM_CHAIN, by=by, now=now, act=act, about=about, body={})
