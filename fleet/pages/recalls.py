"""Recalls: what a notice is about, looked over before it is signed; ended when the notice is lifted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.recalls import RecallSlip, end_recall, look_over, open_recall
from fleet.lists.models import models
from fleet.lists.recalls import find_recall, recalls
from fleet.pages.drawing import draw
from fleet.pages.finding import own_site, own_sites
from fleet.pages.guard import Form, Guard, Typed, go, status_of
from fleet.pages.reading import Number
from fleet.pages.signing import is_asked_again
from fleet.refusals import NotFound, Refusal

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.engine import Connection

    from fleet.desk.recalls import Reach
    from fleet.lists.access import Visitor
    from fleet.lists.recalls import RecalledLine

_FIELDS = ("model", "notice", "reason", "serials", "assembled")


class Recalls:
    """The list, one recall, the form with what it would be about, and the end."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/recalls", self.show_list, methods=["GET"], response_model=None)
        router.add_api_route("/recalls", self.open_one, methods=["POST"], response_model=None)
        router.add_api_route("/recalls/new", self.show_form, methods=["GET"], response_model=None)
        router.add_api_route("/recalls/{number}", self.show_one, methods=["GET"], response_model=None)
        router.add_api_route("/recalls/{number}/end", self.end_one, methods=["POST"], response_model=None)
        return router

    def show_list(self, request: Request) -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, _now):
            zone = own_site(db, who).time_zone
            found = recalls(db, ended=True)
        told = {
            "open": [line for line in found if line.ended_at is None],
            "ended": [line for line in found if line.ended_at],
            "zone": zone,
        }
        return draw(request, self._room, "recalls.html", who, 200, **told)

    def show_form(self, request: Request) -> Response:
        """The form; once it is filled in, everything that it would be about, and nothing is changed yet."""
        who, asked = self._guard.sure(request), request.query_params
        typed = Form({name: (asked.get(name, ""),) for name in _FIELDS})
        return self._form(request, who, typed)

    def _form(self, request: Request, who: Visitor, typed: Form, refused: Refusal | None = None) -> Response:
        reach: Reach | None = None
        with self._guard.look() as (db, now):
            own_site(db, who)
            designations = sorted({line.model for line in models(db)})
            try:
                reach = look_over(db, _slip(typed)) if typed.get("model") else None
            except Refusal as refusal:
                refused = refused or refusal
            told = {
                "models": designations,
                "reach": reach,
                "meant": _seen(db, who, reach.meant if reach else ()),
                "unclear": _seen(db, who, reach.unclear if reach else ()),
                "prove": is_asked_again(who, now),
                "typed": typed,
                "error": str(refused) if refused else None,
            }
        status = _status(refused)
        return draw(request, self._room, "recall_form.html", who, status, **told)

    def open_one(self, request: Request, form: Typed) -> Response:
        who = self._guard.confirmed(request)
        with self._guard.look() as (db, _now):
            own_site(db, who)
        try:
            with self._guard.act(who) as (db, by, now):
                reach = open_recall(db, _slip(form), by=by, now=now)
        except Refusal as refusal:
            return self._form(request, who, form, refusal)
        items = "1 item is" if len(reach.meant) == 1 else f"{len(reach.meant)} items are"
        return go(f"/recalls/{reach.recall}", f"Recall {reach.recall} is open: {items} on hold for it now.")

    def show_one(self, request: Request, number: Number) -> Response:
        return self._one(request, self._guard.sure(request), number)

    def _one(
        self, request: Request, who: Visitor, number: int, refused: Refusal | None = None, **more: object
    ) -> Response:
        with self._guard.look() as (db, now):
            zone = own_site(db, who).time_zone
            line, found = find_recall(db, number)
            told = {
                "recall": line,
                "found": _seen(db, who, found),
                "zone": zone,
                "prove": is_asked_again(who, now),
                "error": str(refused) if refused else None,
            }
        status = _status(refused)
        return draw(request, self._room, "recall.html", who, status, **(told | more))

    def end_one(self, request: Request, number: Number, form: Typed) -> Response:
        who = self._guard.confirmed(request)
        with self._guard.look() as (db, _now):
            own_site(db, who)
            find_recall(db, number)
        try:
            with self._guard.act(who) as (db, by, now):
                ended = end_recall(db, number, form.get("reason"), by=by, now=now)
        except Refusal as refusal:
            return self._one(request, who, number, refusal, typed=form)
        items = "1 hold ended" if len(ended.released) == 1 else f"{len(ended.released)} holds ended"
        return go(f"/recalls/{number}", f"Recall {number} has ended, and {items} with it.")


def _slip(form: Form) -> RecallSlip:
    return RecallSlip(
        form.get("model"),
        form.get("notice"),
        form.get("reason"),
        form.get("serials") or None,
        form.get("assembled") or None,
    )


def _status(refused: Refusal | None) -> int:
    """What was typed into a form and is not there is a slip, no missing page."""
    if refused is None:
        return 200
    return 422 if isinstance(refused, NotFound) else status_of(refused)


def _seen(db: Connection, who: Visitor, found: Sequence[RecalledLine]) -> tuple[list[RecalledLine], int]:
    """The items of a visitor's own sites, and how many there are elsewhere: a recall is about every site."""
    own = {site.id for site in own_sites(db, who)}
    mine = [line for line in found if line.site_id in own]
    return mine, len(found) - len(mine)
