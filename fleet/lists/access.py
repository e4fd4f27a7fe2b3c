"""Who is logged in, by which browser, and what tries there were."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, or_, select

from fleet.lists.rows import lines
from fleet.records import (
    InvitationRow,
    LoginAttemptRow,
    LoginRow,
    PersonRow,
    RoleRow,
    SessionRow,
    SiteRow,
    StationRow,
)
from fleet.records.prepared import Prepared
from fleet.rules.access import FAILURES_WITHIN, SessionTimes, is_over
from fleet.rules.people import Actor
from fleet.rules.secrets import digest_of

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

FAILED = "failed"
ENTERED = "entered"


@dataclass(frozen=True, slots=True)
class Visitor:
    """Somebody logged in: who, in which roles, with whose units, and since when."""

    session_id: int
    person_id: int
    badge: str
    name: str
    administrator: bool
    pressure_unit: str | None
    torque_unit: str | None
    roles: frozenset[tuple[int, str]]
    station_id: int | None
    station: str | None
    station_site: int | None
    times: SessionTimes

    @property
    def actor(self) -> Actor:
        """As the acts know them."""
        return Actor(self.person_id, self.name, self.roles)

    @property
    def sites(self) -> frozenset[int]:
        """Where they have a role."""
        return frozenset(site for site, _ in self.roles)


@dataclass(frozen=True, slots=True)
class LoginFacts:
    """What somebody who wants to log in is known by; without a log-in the hashes are missing."""

    person_id: int
    badge: str
    name: str
    administrator: bool
    password_hash: str | None
    pin_hash: str | None
    totp_secret: str | None
    totp_step: int | None


@dataclass(frozen=True, slots=True)
class SessionLine:
    """One log-in as its person sees it."""

    id: int
    begun_at: datetime
    seen_at: datetime
    browser: str
    station: str | None


@dataclass(frozen=True, slots=True)
class StationLine:
    """One enrolled counter."""

    id: int
    site: str
    name: str
    enrolled_at: datetime
    enrolled_by: str
    ended_at: datetime | None


_VISITOR = Prepared(
    select(
        SessionRow.id,
        PersonRow.id.label("person"),
        PersonRow.badge,
        PersonRow.name,
        PersonRow.administrator,
        PersonRow.pressure_unit,
        PersonRow.torque_unit,
        SessionRow.station_id,
        StationRow.name.label("station"),
        StationRow.site_id.label("station_site"),
        SessionRow.begun_at,
        SessionRow.seen_at,
        SessionRow.confirmed_at,
        RoleRow.site_id,
        RoleRow.role,
    )
    .join(PersonRow, PersonRow.id == SessionRow.person_id)
    .outerjoin(RoleRow, RoleRow.person_id == PersonRow.id)
    .outerjoin(StationRow, StationRow.id == SessionRow.station_id)
    .where(
        SessionRow.token_sha256 == bindparam("token"),
        SessionRow.ended_at.is_(None),
        PersonRow.active == bindparam("active", value=True),
        or_(SessionRow.station_id.is_(None), StationRow.ended_at.is_(None)),
    )
)
_LOGIN = (
    select(
        PersonRow.id,
        PersonRow.badge,
        PersonRow.name,
        PersonRow.administrator,
        LoginRow.password_hash,
        LoginRow.pin_hash,
        LoginRow.totp_secret,
        LoginRow.totp_step,
    )
    .outerjoin(LoginRow, LoginRow.person_id == PersonRow.id)
    .where(PersonRow.active == bindparam("active", value=True))
)
_BY_BADGE = _LOGIN.where(PersonRow.badge == bindparam("badge"))
_BY_INVITATION = _LOGIN.join(InvitationRow, InvitationRow.person_id == PersonRow.id).where(
    InvitationRow.token_sha256 == bindparam("token"),
    InvitationRow.used_at.is_(None),
    InvitationRow.expires_at > bindparam("now", type_=InvitationRow.expires_at.type),
)
_ANYBODY = select(func.count()).select_from(LoginRow)
_FAILURES = select(LoginAttemptRow.at).where(
    LoginAttemptRow.outcome == FAILED,
    LoginAttemptRow.at > bindparam("since", type_=LoginAttemptRow.at.type),
)
_OF_BADGE = _FAILURES.where(LoginAttemptRow.badge == bindparam("badge"))
_OF_ORIGIN = _FAILURES.where(LoginAttemptRow.origin == bindparam("origin"))
_SESSIONS = (
    select(SessionRow.id, SessionRow.begun_at, SessionRow.seen_at, SessionRow.browser, StationRow.name)
    .outerjoin(StationRow, StationRow.id == SessionRow.station_id)
    .where(SessionRow.person_id == bindparam("person"), SessionRow.ended_at.is_(None))
    .order_by(SessionRow.seen_at.desc())
)
_STATION = select(StationRow.id, StationRow.site_id, StationRow.name).where(
    StationRow.token_sha256 == bindparam("token"), StationRow.ended_at.is_(None)
)
_STATIONS = (
    select(
        StationRow.id,
        SiteRow.code,
        StationRow.name,
        StationRow.enrolled_at,
        PersonRow.name,
        StationRow.ended_at,
    )
    .join(SiteRow, SiteRow.id == StationRow.site_id)
    .join(PersonRow, PersonRow.id == StationRow.enrolled_by_id)
    .order_by(SiteRow.code, StationRow.name, StationRow.id)
)


def visitor(db: Connection, token: str | None, now: datetime) -> Visitor | None:
    """Who is logged in with this token; nobody when it ended, was ended, or was never given out.

    A role that was taken away, and a person who left, count at once: both are looked up each time.
    """
    if not token:
        return None
    rows = _VISITOR.rows(db, {"token": digest_of(token)})
    if not rows:
        return None
    first = rows[0]
    times = SessionTimes(first.begun_at, first.seen_at, first.confirmed_at, first.station_id is not None)
    if is_over(times, now):
        return None
    return Visitor(
        first.id,
        first.person,
        first.badge,
        first.name,
        bool(first.administrator),
        first.pressure_unit,
        first.torque_unit,
        frozenset((row.site_id, row.role) for row in rows if row.role),
        first.station_id,
        first.station,
        first.station_site,
        times,
    )


def login_of(db: Connection, badge: str) -> LoginFacts | None:
    """What somebody with this badge logs in with."""
    row = db.execute(_BY_BADGE, {"badge": badge.strip()}).first()
    return LoginFacts(*row) if row else None


def invited(db: Connection, token: str, now: datetime) -> LoginFacts | None:
    """Whom an invitation is for, while it can be used."""
    row = db.execute(_BY_INVITATION, {"token": digest_of(token), "now": now}).first()
    return LoginFacts(*row) if row else None


def anybody_can_log_in(db: Connection) -> bool:
    """Whether the first log-in was made."""
    return bool(db.execute(_ANYBODY).scalar_one())


def failures(db: Connection, badge: str, origin: str, now: datetime) -> tuple[list[datetime], list[datetime]]:
    """When tries failed lately: for the badge, and from the place."""
    since = now - FAILURES_WITHIN
    of_badge = db.execute(_OF_BADGE, {"badge": badge, "since": since}).scalars().all()
    of_origin = db.execute(_OF_ORIGIN, {"origin": origin, "since": since}).scalars().all()
    return list(of_badge), list(of_origin)


def sessions(db: Connection, person_id: int) -> list[SessionLine]:
    """The log-ins of one person that were not ended, the last used first."""
    return lines(SessionLine, db.execute(_SESSIONS, {"person": person_id}))


def station_of(db: Connection, token: str | None) -> tuple[int, int, str] | None:
    """The counter that this token enrolled: its id, its site and its name."""
    row = db.execute(_STATION, {"token": digest_of(token)}).first() if token else None
    return (row.id, row.site_id, row.name) if row else None


def stations(db: Connection) -> list[StationLine]:
    """Every counter that was ever enrolled, by site and name."""
    return lines(StationLine, db.execute(_STATIONS))
