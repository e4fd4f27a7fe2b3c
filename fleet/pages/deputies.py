"""Absences and deputies: who gets somebody's letters while they are away."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.deputies import AbsenceSlip, end_absence, set_absence, set_deputy
from fleet.lists.deputies import absences, colleagues, deputies
from fleet.measures.times import read_day, show_day
from fleet.pages.drawing import draw
from fleet.pages.guard import Guard, Typed, go, status_of
from fleet.refusals import NotFound, Refusal

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.pages.guard import Form
    from fleet.rules.deputies import Colleague


class Deputies:
    """What stands, and three forms."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/deputies", self.show, methods=["GET"], response_model=None)
        router.add_api_route("/deputies/absence", self.set_away, methods=["POST"], response_model=None)
        router.add_api_route("/deputies/absence/end", self.end_away, methods=["POST"], response_model=None)
        router.add_api_route("/deputies/standing", self.set_standing, methods=["POST"], response_model=None)
        return router

    def show(self, request: Request) -> Response:
        return self._page(request, self._guard.sure(request))

    def _page(
        self, request: Request, who: Visitor, refused: Refusal | None = None, **more: object
    ) -> Response:
        with self._guard.look() as (db, now):
            known = _known(db, who)
            badges = {one.badge for one in known}
            told = {
                "people": [(one.badge, f"{one.name} ({one.badge})") for one in known if one.active],
                "absences": [line for line in absences(db, now=now) if line.badge in badges],
                "standing": [line for line in deputies(db) if line.badge in badges],
                "error": _plainly(refused) if refused else None,
            }
        status = status_of(refused) if refused else 200
        return draw(request, self._room, "deputies.html", who, status, **(told | more))

    def set_away(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        try:
            days = read_day(form.get("from")), read_day(form.get("through"))
            slip = AbsenceSlip(self._person(who, form), *days, form.get("deputy") or None)
            with self._guard.act(who) as (db, by, now):
                if _stands(db, slip, now):
                    return go("/deputies", "That absence stands already.")
                done = set_absence(db, slip, by=by, now=now)
        except Refusal as refusal:
            return self._page(request, who, refusal, typed=form)
        said = (
            f"{done.person} is away from {show_day(done.from_day)} through {show_day(done.through_day)}; "
            f"{done.deputy} gets the letters instead."
        )
        return go("/deputies", said)

    def end_away(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        try:
            first = read_day(form.get("first"))
            with self._guard.act(who) as (db, by, now):
                done = end_absence(db, self._person(who, form), by=by, now=now, from_day=first)
        except Refusal as refusal:
            return self._page(request, who, refusal)
        return go("/deputies", f"The absence is ended; {done.person} gets the letters again.")

    def set_standing(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        try:
            with self._guard.act(who) as (db, by, now):
                deputy = form.get("stand_in") or None
                done = set_deputy(db, self._person(who, form), deputy, by=by, now=now)
        except Refusal as refusal:
            return self._page(request, who, refusal, typed=form)
        if done.deputy:
            return go("/deputies", f"{done.deputy} is the standing deputy of {done.person} from now on.")
        return go("/deputies", f"{done.person} has no standing deputy any more.")

    def _person(self, who: Visitor, form: Form) -> str:
        """Somebody they can see; of anybody else they are told that there is nobody like that."""
        badge = form.get("person")
        with self._guard.look() as (db, _now):
            if not any(one.badge == badge for one in _known(db, who)):
                raise NotFound(f"Nobody with the badge {badge[:40]!r} has a role at a site of yours.")
        return badge


def _known(db: Connection, who: Visitor) -> list[Colleague]:
    """Those with a role at a site of theirs."""
    return [one for one in colleagues(db).values() if any(site in who.sites for site, _ in one.sites)]


def _stands(db: Connection, slip: AbsenceSlip, now: datetime) -> bool:
    """Whether the very same absence is on record: sent twice, a form acts once."""
    asked = (slip.person, slip.from_day, slip.through_day)
    return any(
        (line.badge, line.from_day, line.through_day) == asked and slip.deputy in (None, line.deputy_badge)
        for line in absences(db, now=now)
    )


def _plainly(refusal: Refusal) -> str:
    """The sentence without what is for a terminal only."""
    said = str(refusal)
    for words in ("; say who is told instead with --", "; say which ends with --", " with: fleet"):
        said, cut, _rest = said.partition(words)
        if cut:
            return f"{said}{'; choose who is told instead.' if 'told instead' in cut else '.'}"
    return said
