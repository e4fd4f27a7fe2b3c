"""Tokens of programs and links of calendars: made, shown once, listed, ended."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.tokens import TokenSlip, end_token, make_calendar, make_token
from fleet.lists.tokens import tokens
from fleet.pages.drawing import draw
from fleet.pages.finding import own_site, own_sites
from fleet.pages.guard import Guard, Typed, go
from fleet.refusals import Refusal, Unreadable
from fleet.rules.tokens import MEANING, MOST_DAYS, USUAL_DAYS, Scope

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.rules.people import Actor


class Tokens:
    """One's own tokens. To make one takes a proof of a moment ago that it is still the same person.

    To end one takes none: whoever passes by could only lock a program out.
    """

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        for path, answer, method in (
            ("/tokens", self.show, "GET"),
            ("/tokens", self.make, "POST"),
            ("/calendars", self.make_calendar, "POST"),
            ("/tokens/{token}/end", self.end, "POST"),
        ):
            router.add_api_route(path, answer, methods=[method], response_model=None)
        return router

    def show(self, request: Request) -> Response:
        return self._page(request, self._guard.sure(request))

    def make(self, request: Request, form: Typed) -> Response:
        who = self._guard.confirmed(request)

        def made(db: Connection, by: Actor, now: datetime) -> str:
            days = form.get("days") or str(USUAL_DAYS)
            if not (days.isascii() and days.isdigit() and len(days) <= len(str(MOST_DAYS))):
                raise Unreadable("Write for how many days the token lasts, in figures.")
            if not set(form.all("scope")) <= set(MEANING):
                raise Unreadable("Choose of what is offered.")
            site = own_site(db, who, form.get("site")) if form.get("site") else None
            scopes = tuple(Scope(one) for one in form.all("scope"))
            return make_token(db, TokenSlip(form.get("name"), scopes, site, int(days)), by=by, now=now)

        return self._made(request, who, form, made)

    def make_calendar(self, request: Request, form: Typed) -> Response:
        who = self._guard.confirmed(request)

        def made(db: Connection, by: Actor, now: datetime) -> str:
            secret = make_calendar(db, own_site(db, who, form.get("site")), by=by, now=now)
            return f"{request.url.scheme}://{request.url.netloc}/calendar/{secret}.ics"

        return self._made(request, who, form, made)

    def end(self, request: Request, token: int, _form: Typed) -> Response:
        who = self._guard.sure(request)
        with self._guard.act(who) as (db, by, now):
            end_token(db, token, by=by, now=now)
        return go("/tokens", "It is ended.")

    def _made(
        self,
        request: Request,
        who: Visitor,
        form: Typed,
        made: Callable[[Connection, Actor, datetime], str],
    ) -> Response:
        try:
            with self._guard.act(who) as acting:
                secret = made(*acting)
        except Refusal as refusal:
            return self._page(request, who, 422, error=str(refusal), typed=form)
        return self._page(request, who, made=secret)

    def _page(self, request: Request, who: Visitor, status: int = 200, **said: object) -> Response:
        with self._guard.look() as (db, now):
            told: dict[str, object] = {
                "tokens": tokens(db, who.person_id),
                "now": now,
                "sites": own_sites(db, who),
                "scopes": MEANING,
                "usual_days": USUAL_DAYS,
                "made": None,
            }
        return draw(request, self._room, "tokens.html", who, status, **(told | said))
