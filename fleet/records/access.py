"""How people get in: log-ins, invitations, sessions, counter stations, tokens; and what was tried.

No secret is kept as it is: passwords and PINs as argon2id, everything long and random as SHA-256.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from fleet.records.base import Base, Key, table


class LoginRow(Base):
    """What somebody logs in with. ``totp_step``: that of the last code that was used; none is used twice."""

    __tablename__ = "login"
    __table_args__ = table()

    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), primary_key=True)
    password_hash: Mapped[str]
    changed_at: Mapped[datetime]
    pin_hash: Mapped[str | None]
    # RFC 6238; in Base32, since it has to be shown to nobody but the program itself after it was set up.
    totp_secret: Mapped[str | None]
    totp_step: Mapped[int | None]


class InvitationRow(Base):
    """A link that lets one person set a password, once and not for long."""

    __tablename__ = "invitation"
    __table_args__ = table(Index("ux_invitation_token_sha256", "token_sha256", unique=True))

    id: Mapped[Key]
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    token_sha256: Mapped[str]
    made_at: Mapped[datetime]
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    expires_at: Mapped[datetime]
    used_at: Mapped[datetime | None]


class StationRow(Base):
    """A counter whose browser was enrolled: there a badge and a PIN are enough."""

    __tablename__ = "station"
    __table_args__ = table(Index("ux_station_token_sha256", "token_sha256", unique=True))

    id: Mapped[Key]
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    name: Mapped[str]
    token_sha256: Mapped[str]
    enrolled_at: Mapped[datetime]
    enrolled_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    ended_at: Mapped[datetime | None]


class SessionRow(Base):
    """One log-in of one browser. ``confirmed_at``: when it was last proved that it is still that person."""

    __tablename__ = "session"
    __table_args__ = table(
        Index("ux_session_token_sha256", "token_sha256", unique=True),
        Index("ix_session_person_id", "person_id"),
    )

    id: Mapped[Key]
    token_sha256: Mapped[str]
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    station_id: Mapped[int | None] = mapped_column(ForeignKey("station.id"))
    begun_at: Mapped[datetime]
    seen_at: Mapped[datetime]
    confirmed_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    browser: Mapped[str]


class LoginAttemptRow(Base):
    """One try to get in. Append-only; too many of them for one badge or from one address have to wait."""

    __tablename__ = "login_attempt"
    __table_args__ = table(
        Index("ix_login_attempt_badge_at", "badge", "at"),
        Index("ix_login_attempt_origin_at", "origin", "at"),
    )

    id: Mapped[Key]
    at: Mapped[datetime]
    badge: Mapped[str]
    origin: Mapped[str]
    outcome: Mapped[str]


class TokenRow(Base):
    """A token for a program or a calendar: it may do what its scopes say, and no more than its person may."""

    __tablename__ = "token"
    __table_args__ = table(
        Index("ux_token_token_sha256", "token_sha256", unique=True),
        CheckConstraint("length(scopes) > 0", name="scopes_some"),
    )

    id: Mapped[Key]
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    name: Mapped[str]
    token_sha256: Mapped[str]
    scopes: Mapped[str]
    site_id: Mapped[int | None] = mapped_column(ForeignKey("site.id"))
    made_at: Mapped[datetime]
    expires_at: Mapped[datetime | None]
    used_at: Mapped[datetime | None]
    ended_at: Mapped[datetime | None]


class AnswerRow(Base):
    """What was answered to a request with a key of its own, so that the same one asked again acts once."""

    __tablename__ = "answer"
    __table_args__ = table(UniqueConstraint("person_id", "request_key"))

    id: Mapped[Key]
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    request_key: Mapped[str]
    request_sha256: Mapped[str]
    status: Mapped[int]
    body: Mapped[str]
    at: Mapped[datetime]
