"""Who asks by a token, whether the token is for that, and how often it may ask.

Only the header Authorization counts. Cookies are never looked at, so no page elsewhere can make a browser
act here.
"""

from __future__ import annotations

import re
from collections import OrderedDict
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import Lock
from typing import TYPE_CHECKING

from fleet.lists.tokens import bearer
from fleet.pages.api.problems import Problem

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from fastapi import Request
    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.tokens import Bearer
    from fleet.room import Room
    from fleet.rules.tokens import Scope

# RFC 6750, section 2.1; ours are 43 characters long.
_BEARER = re.compile(r"Bearer +([A-Za-z0-9_-]{20,200})", re.IGNORECASE)
MOST_WATCHED = 1000
MOST_ERRORS, LONGEST_NAME = 20, 200


@dataclass(frozen=True, slots=True)
class Pace:
    """How often one token may ask: ``at_once`` after a pause, then so many a second."""

    at_once: int = 120
    per_second: float = 10.0


@dataclass
class Buckets:
    """What each token has left of its pace. Of this process alone: with several, each counts for itself."""

    pace: Pace
    _left: OrderedDict[int, tuple[float, datetime]] = field(default_factory=OrderedDict)
    _lock: Lock = field(default_factory=Lock)

    def take(self, token: int, now: datetime) -> None:
        """Count one request, or refuse it."""
        with self._lock:
            left, then = self._left.pop(token, (float(self.pace.at_once), now))
            passed = max((now - then).total_seconds(), 0.0)
            left = min(left + passed * self.pace.per_second, float(self.pace.at_once))
            self._left[token] = (left - 1 if left >= 1 else left, now)
            if len(self._left) > MOST_WATCHED:
                self._left.popitem(last=False)
        if left < 1:
            seconds = int((1 - left) / self.pace.per_second) + 1
            raise Problem("too-often", Retry_After=str(seconds))


@dataclass(frozen=True, slots=True)
class Asking:
    """One request of somebody known: the connection it works on, who asks, and the time."""

    db: Connection
    by: Bearer
    now: datetime

    @property
    def who(self) -> Visitor:
        """The person, with the roles that count here."""
        return self.by.who


class Gate:
    """Lets a token in, or says why not."""

    def __init__(self, room: Room, pace: Pace) -> None:
        self.room = room
        self._buckets = Buckets(pace)

    def let_in(self, db: Connection, request: Request, scope: Scope | None) -> Asking:
        """Whoever asks, when their token is for this; without a scope any token that is not a calendar's."""
        typed = _BEARER.fullmatch(request.headers.get("authorization", ""))
        now = self.room.now(db)
        found = bearer(db, typed[1], now) if typed else None
        if found is None or "calendar" in found.scopes:
            known = 'Bearer realm="tool room"' + (', error="invalid_token"' if typed else "")
            raise Problem("no-token", WWW_Authenticate=known)
        # By the clock of the machine: that of the room stands still after it was set back.
        self._buckets.take(found.token_id, self.room.clock())
        if scope is not None and scope not in found.scopes:
            known = f'Bearer realm="tool room", error="insufficient_scope", scope="{scope}"'
            raise Problem(
                "not-for-this", f"This needs a token with the scope {scope}.", WWW_Authenticate=known
            )
        _check_asked(request)
        return Asking(db, found, now)

    @contextmanager
    def look(self, request: Request, scope: Scope | None) -> Iterator[Asking]:
        """One look of somebody known; changes nothing."""
        with self.room.look() as db:
            yield self.let_in(db, request, scope)


def _check_asked(request: Request) -> None:
    """What stands after the question mark is refused unless it is described: a slip would go unnoticed."""
    known = {one.alias for one in request.scope["route"].dependant.query_params}
    if unknown := sorted(set(request.query_params) - known):
        errors = [{"at": f"query/{one}"[:LONGEST_NAME], "says": "It is not described."} for one in unknown]
        raise Problem("invalid", errors=errors[:MOST_ERRORS])
