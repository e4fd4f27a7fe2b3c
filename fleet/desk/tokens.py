"""Tokens: made by somebody who has just proved who they are, shown once, ended at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import insert, update

from fleet.ledgers import daybook
from fleet.records import TokenRow
from fleet.records.base import rows_of
from fleet.refusals import NotAllowed, NotFound
from fleet.rules.daybook import ROOM_CHAIN
from fleet.rules.secrets import digest_of, new_token
from fleet.rules.tokens import USUAL_DAYS, Scope, check_token, ends_after

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine
    from fleet.rules.people import Actor

_TOKENS = rows_of(TokenRow)


@dataclass(frozen=True, slots=True)
class TokenSlip:
    """What a token is to be called, what it is for, where, and for how many days."""

    name: str
    scopes: tuple[Scope, ...]
    site: SiteLine | None = None
    days: int = USUAL_DAYS


def make_token(db: Connection, slip: TokenSlip, *, by: Actor, now: datetime) -> str:
    """Make a token of whoever acts; answers it, and it is kept nowhere."""
    scopes = check_token(slip.name, slip.scopes, slip.days)
    _check_site(slip.site, by)
    return _make(db, slip.name.strip(), scopes, slip.site, now + ends_after(slip.days), by=by, now=now)


def make_calendar(db: Connection, site: SiteLine, *, by: Actor, now: datetime) -> str:
    """Make the secret of a calendar of one site, which is read only.

    It lasts until it is ended or its person has no role there any more: a calendar that runs dry unnoticed
    would be taken for one in which nothing is due.
    """
    _check_site(site, by)
    return _make(db, f"calendar of {site.code}", (Scope.CALENDAR,), site, None, by=by, now=now)


def end_token(db: Connection, token: int, *, by: Actor, now: datetime) -> None:
    """End one of one's own tokens; whoever has it is out with the next request."""
    mine = update(_TOKENS).where(
        _TOKENS.c.id == token, _TOKENS.c.person_id == by.id, _TOKENS.c.ended_at.is_(None)
    )
    name = db.execute(mine.values(ended_at=now).returning(_TOKENS.c.name)).scalar()
    if name is None:
        raise NotFound("There is no such token of yours, or it was ended before.")
    daybook.enter(db, ROOM_CHAIN, by=by, now=now, act="token ended", about=name, body={"token": token})


def _check_site(site: SiteLine | None, by: Actor) -> None:
    if not any(site is None or held == site.id for held, _ in by.roles):
        where = f"at {site.name}" if site else "at any site"
        raise NotAllowed(f"{by.name} has no role {where}, so a token could do nothing there.")


def _make(
    db: Connection,
    name: str,
    scopes: tuple[Scope, ...],
    site: SiteLine | None,
    expires_at: datetime | None,
    *,
    by: Actor,
    now: datetime,
) -> str:
    token = new_token()
    row = {
        "person_id": by.id,
        "name": name,
        "token_sha256": digest_of(token),
        "scopes": " ".join(scopes),
        "site_id": site.id if site else None,
        "made_at": now,
        "expires_at": expires_at,
    }
    db.execute(insert(_TOKENS), row)
    body = {
        "scopes": list(scopes),
        "site": site.code if site else None,
        "expires_at": expires_at.isoformat() if expires_at else None,
    }
    daybook.enter(db, ROOM_CHAIN, by=by, now=now, act="token made", about=name, body=body)
    return token
