"""Tokens of programs and calendars: whose they are, and what they may be used for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, or_, select

from fleet.lists.access import Visitor
from fleet.records import AnswerRow, PersonRow, RoleRow, SiteRow, TokenRow
from fleet.rules.access import SessionTimes
from fleet.rules.secrets import digest_of

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class TokenLine:
    """One token as its person sees it; the token itself is kept nowhere."""

    id: int
    name: str
    scopes: tuple[str, ...]
    site: str | None
    made_at: datetime
    expires_at: datetime | None
    used_at: datetime | None
    ended_at: datetime | None

    def usable(self, now: datetime) -> bool:
        """Whether it opens anything still."""
        return self.ended_at is None and (self.expires_at is None or now < self.expires_at)


@dataclass(frozen=True, slots=True)
class Bearer:
    """Whoever asks by a token: its person with the roles they have now, only those of the token's site."""

    token_id: int
    name: str
    scopes: frozenset[str]
    site_id: int | None
    who: Visitor


@dataclass(frozen=True, slots=True)
class KeptAnswer:
    """What was answered to a request before."""

    request_sha256: str
    status: int
    body: str


_BEARER = (
    select(
        TokenRow.id,
        TokenRow.name.label("token_name"),
        TokenRow.scopes,
        TokenRow.site_id.label("only_site"),
        TokenRow.made_at,
        PersonRow.id.label("person"),
        PersonRow.badge,
        PersonRow.name,
        PersonRow.pressure_unit,
        PersonRow.torque_unit,
        RoleRow.site_id,
        RoleRow.role,
    )
    .join(PersonRow, PersonRow.id == TokenRow.person_id)
    .outerjoin(RoleRow, RoleRow.person_id == PersonRow.id)
    .where(
        TokenRow.token_sha256 == bindparam("token"),
        TokenRow.ended_at.is_(None),
        or_(
            TokenRow.expires_at.is_(None),
            TokenRow.expires_at > bindparam("now", type_=TokenRow.expires_at.type),
        ),
        PersonRow.active == bindparam("active", value=True),
    )
)
_OF_PERSON = (
    select(
        TokenRow.id,
        TokenRow.name,
        TokenRow.scopes,
        SiteRow.code,
        TokenRow.made_at,
        TokenRow.expires_at,
        TokenRow.used_at,
        TokenRow.ended_at,
    )
    .outerjoin(SiteRow, SiteRow.id == TokenRow.site_id)
    .where(TokenRow.person_id == bindparam("person"))
    .order_by(TokenRow.made_at.desc(), TokenRow.id.desc())
)
_KEPT = select(AnswerRow.request_sha256, AnswerRow.status, AnswerRow.body).where(
    AnswerRow.person_id == bindparam("person"), AnswerRow.request_key == bindparam("key")
)


def bearer(db: Connection, token: str, now: datetime) -> Bearer | None:
    """Who asks by this token; nobody when it ended, was never given out, or its person left.

    Being an administrator is of no use here: nothing that needs one is done by a token.
    """
    rows = db.execute(_BEARER, {"token": digest_of(token), "now": now}).all()
    if not rows:
        return None
    first = rows[0]
    roles = frozenset(
        (row.site_id, row.role) for row in rows if row.role and first.only_site in (None, row.site_id)
    )
    who = Visitor(
        session_id=0,
        person_id=first.person,
        badge=first.badge,
        name=first.name,
        administrator=False,
        pressure_unit=first.pressure_unit,
        torque_unit=first.torque_unit,
        roles=roles,
        station_id=None,
        station=None,
        station_site=first.only_site,
        times=SessionTimes(first.made_at, first.made_at, first.made_at, at_station=False),
    )
    return Bearer(first.id, first.token_name, frozenset(first.scopes.split()), first.only_site, who)


def tokens(db: Connection, person_id: int) -> list[TokenLine]:
    """Every token that a person ever made, the newest first."""
    rows = db.execute(_OF_PERSON, {"person": person_id})
    return [TokenLine(row[0], row[1], tuple(row[2].split()), *row[3:]) for row in rows]


def kept_answer(db: Connection, person_id: int, key: str) -> KeptAnswer | None:
    """What was answered to this person's request of that key."""
    row = db.execute(_KEPT, {"person": person_id, "key": key}).first()
    return KeptAnswer(*row) if row else None
