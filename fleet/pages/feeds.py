"""The calendar of a site for a calendar program: read only, by a secret in the address.

Calendar programs send no header of ours, so the secret stands in the address. It opens nothing else, names
nobody, and is ended on the page of tokens. It is written into no log.
"""

from __future__ import annotations

from hashlib import sha256

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse, Response

from fleet.lists.calendars import site_calendar
from fleet.lists.tokens import bearer
from fleet.pages.finding import own_sites
from fleet.pages.guard import Guard
from fleet.papers.calendars import calendar_file
from fleet.rules.tokens import Scope

# Kept by the reader alone, and asked about anew each time.
KEPT = "private, no-cache"


class Feeds:
    """One address."""

    def __init__(self, guard: Guard) -> None:
        self._guard = guard

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route(
            "/calendar/{secret}.ics", self.feed, methods=["GET", "HEAD"], response_model=None
        )
        return router

    def feed(self, request: Request, secret: str) -> Response:
        """What falls due, jobs and what is kept for them; not again for whoever has it as it is."""
        with self._guard.look() as (db, now):
            found = bearer(db, secret, now)
            places = own_sites(db, found.who) if found and Scope.CALENDAR in found.scopes else []
            if not places:
                return PlainTextResponse("There is no such calendar.\n", 404)
            facts = site_calendar(db, places[0], now=now)
        content = calendar_file(facts)
        mark = f'"{sha256(content).hexdigest()[:32]}"'
        headers = {"ETag": mark, "Cache-Control": KEPT}
        if _has(request.headers.get("if-none-match", ""), mark):
            return Response(status_code=304, headers=headers)
        return Response(content, headers=headers, media_type="text/calendar; charset=utf-8")


def _has(known: str, mark: str) -> bool:
    """RFC 9110, 13.1.2: any of several, compared weakly, or a star for whatever there is."""
    marks = [one.strip().removeprefix("W/") for one in known.split(",")]
    return mark in marks or marks == ["*"]
