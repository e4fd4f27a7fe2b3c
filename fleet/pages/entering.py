"""In and out: logging in by password or at a counter, proving it again, setting a password by a link."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.access import Credentials, badge_in, confirm, log_in, log_out
from fleet.desk.logins import set_password
from fleet.lists.access import anybody_can_log_in, invited, station_of
from fleet.pages.drawing import draw
from fleet.pages.guard import (
    FORM,
    SESSION,
    STATION,
    Guard,
    Typed,
    browser_of,
    drop_cookie,
    go,
    keep_cookie,
    seen_from,
    way_back,
)
from fleet.refusals import NotPossible, Refusal

if TYPE_CHECKING:
    from fleet.rules.access import Entry

# Wrong credentials are the visitor's to put right, and no reason to speak of a broken page.
_TURNED_AWAY = 403


class Entering:
    """The door."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/in", self.show_door, methods=["GET"], response_model=None)
        router.add_api_route("/in", self.enter, methods=["POST"], response_model=None)
        router.add_api_route("/in/counter", self.enter_at_counter, methods=["POST"], response_model=None)
        router.add_api_route("/out", self.leave, methods=["POST"], response_model=None)
        router.add_api_route("/again", self.ask_again, methods=["GET"], response_model=None)
        router.add_api_route("/again", self.prove, methods=["POST"], response_model=None)
        router.add_api_route("/invited/{link}", self.show_invitation, methods=["GET"], response_model=None)
        router.add_api_route("/invited/{link}", self.accept_invitation, methods=["POST"], response_model=None)
        return router

    def _door(
        self, request: Request, *, status: int = 200, error: str | None = None, back: str = "/"
    ) -> Response:
        with self._room.look() as db:
            station = station_of(db, request.cookies.get(STATION))
            first = not anybody_can_log_in(db)
        said = {"station": station[2] if station else None, "first": first, "next": back}
        return draw(request, self._room, "in.html", None, status, error=error, **said)

    def _come_in(self, request: Request, entry: Entry, back: str) -> Response:
        if entry.token is None:
            return self._door(request, status=_TURNED_AWAY, error=entry.sentence, back=way_back(back))
        answer = go(way_back(back))
        keep_cookie(answer, SESSION, entry.token)
        drop_cookie(answer, FORM)
        return answer

    def show_door(self, request: Request, next: str = "/") -> Response:  # noqa: A002  As the address has it.
        if self._guard.anybody(request):
            return go(way_back(next))
        return self._door(request, back=way_back(next))

    def enter(self, request: Request, form: Typed) -> Response:
        typed = Credentials(form.get("badge"), form.raw("password"), form.get("code"))
        with self._room.act() as db:
            now, clock = self._room.now(db), self._room.clock()
            entry = log_in(db, typed, seen_from(request), browser_of(request), now=now, clock=clock)
        return self._come_in(request, entry, form.get("next"))

    def enter_at_counter(self, request: Request, form: Typed) -> Response:
        with self._room.act() as db:
            entry = badge_in(
                db,
                request.cookies.get(STATION),
                form.get("badge"),
                form.get("pin"),
                seen_from(request),
                browser_of(request),
                now=self._room.now(db),
            )
        return self._come_in(request, entry, form.get("next"))

    def leave(self, request: Request, form: Typed) -> Response:
        who = self._guard.anybody(request)
        if who:
            session = form.get("session")
            with self._room.act() as db:
                log_out(db, who, int(session) if session.isdigit() else None, now=self._room.now(db))
            if session.isdigit() and int(session) != who.session_id:
                return go("/own")
        answer = go("/in")
        drop_cookie(answer, SESSION)
        return answer

    def ask_again(self, request: Request, next: str = "/") -> Response:  # noqa: A002  As above.
        return draw(request, self._room, "again.html", self._guard.sure(request), next=way_back(next))

    def prove(self, request: Request, form: Typed) -> Response:
        who, back = self._guard.sure(request), way_back(form.get("next"))
        with self._room.act() as db:
            typed = Credentials(who.badge, form.raw("password"), form.get("code"))
            now, clock = self._room.now(db), self._room.clock()
            entry = confirm(db, who, typed, seen_from(request), now=now, clock=clock)
        if entry.token is None:
            said = {"error": entry.sentence, "next": back}
            return draw(request, self._room, "again.html", who, _TURNED_AWAY, **said)
        answer = go(back)
        keep_cookie(answer, SESSION, entry.token)
        return answer

    def show_invitation(self, request: Request, link: str) -> Response:
        with self._room.look() as db:
            facts = invited(db, link, self._room.now(db))
        if facts is None:
            raise NotPossible("This link was used already, or is too old. Ask an administrator for another.")
        return draw(
            request, self._room, "invited.html", None, reader=facts.name, badge=facts.badge, link=link
        )

    def accept_invitation(self, request: Request, link: str, form: Typed) -> Response:
        try:
            if form.raw("password") != form.raw("again"):
                raise NotPossible("The two passwords differ.")
            with self._room.act() as db:
                entry = set_password(
                    db, link, form.raw("password"), browser_of(request), now=self._room.now(db)
                )
        except Refusal as refusal:
            with self._room.look() as db:
                facts = invited(db, link, self._room.now(db))
            if facts is None:
                raise
            said = {"reader": facts.name, "badge": facts.badge, "link": link, "error": str(refusal)}
            return draw(request, self._room, "invited.html", None, _TURNED_AWAY, **said)
        return (
            self._come_in(request, entry, "/") if entry.token else self._door(request, error=entry.sentence)
        )
