"""People: who has which role where; roles given and taken, administrators named, people made inactive."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.roles import Changed, give_role, name_administrator, set_active, take_role
from fleet.lists.sites import sites
from fleet.lists.staff import staff
from fleet.pages.drawing import draw
from fleet.pages.guard import Guard, Typed, go, status_of
from fleet.pages.reading import word
from fleet.pages.signing import is_asked_again
from fleet.refusals import NotFound, Refusal
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.staff import StaffLine
    from fleet.pages.guard import Form
    from fleet.rules.people import Actor

    Act = Callable[[Connection, str, Form, Actor, datetime], Changed]

GIVERS = (Role.KEEPER, Role.SAFETY)


class People:
    """The list, one person, and what can be changed about them."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/people", self.show, methods=["GET"], response_model=None)
        router.add_api_route("/people/role", self.give, methods=["POST"], response_model=None)
        router.add_api_route("/people/role/end", self.take, methods=["POST"], response_model=None)
        router.add_api_route("/people/administrator", self.name, methods=["POST"], response_model=None)
        router.add_api_route("/people/active", self.keep, methods=["POST"], response_model=None)
        return router

    def show(self, request: Request, badge: str = "") -> Response:
        return self._page(request, self._guard.sure(request), badge)

    def _page(
        self, request: Request, who: Visitor, badge: str, refused: Refusal | None = None, **more: object
    ) -> Response:
        may = _may_change(who)
        with self._guard.look() as (db, now):
            prove = is_asked_again(who, now)
            places = {site.id: site for site in sites(db)}
            found = _seen(db, who)
        chosen = _chosen(found, badge) if badge else None
        told = {
            "places": places,
            "own": [site for site in places.values() if who.administrator or site.id in who.sites],
            "found": found,
            "one": chosen,
            "may": may,
            "prove": prove,
            "roles": [role.value for role in Role],
            "error": str(refused) if refused else None,
        }
        return draw(
            request, self._room, "people.html", who, status_of(refused) if refused else 200, **(told | more)
        )

    def give(self, request: Request, form: Typed) -> Response:
        def act(db: Connection, badge: str, form: Form, by: Actor, now: datetime) -> Changed:
            return give_role(
                db, badge, form.get("site"), word(Role, form.get("role"), "the role"), by=by, now=now
            )

        return self._change(request, form, act, "{person} is {what} from now on.")

    def take(self, request: Request, form: Typed) -> Response:
        def act(db: Connection, badge: str, form: Form, by: Actor, now: datetime) -> Changed:
            role = word(Role, form.get("role"), "the role")
            return take_role(db, badge, form.get("site"), role, form.get("reason"), by=by, now=now)

        return self._change(request, form, act, "{person} is no longer {what}.")

    def name(self, request: Request, form: Typed) -> Response:
        on = form.get("on") == "yes"

        def act(db: Connection, badge: str, form: Form, by: Actor, now: datetime) -> Changed:
            return name_administrator(db, badge, form.get("reason"), on=on, by=by, now=now)

        words = "{person} is an administrator now." if on else "{person} is no longer an administrator."
        return self._change(request, form, act, words)

    def keep(self, request: Request, form: Typed) -> Response:
        on = form.get("on") == "yes"

        def act(db: Connection, badge: str, form: Form, by: Actor, now: datetime) -> Changed:
            return set_active(db, badge, form.get("reason"), on=on, by=by, now=now)

        return self._change(request, form, act, "{person} is {what}.")

    def _change(self, request: Request, form: Form, act: Act, words: str) -> Response:
        """Every change needs to be sure of who makes it, and is about somebody they can see."""
        who, badge = self._guard.confirmed(request), form.get("badge")
        with self._guard.look() as (db, _now):
            person = _chosen(_seen(db, who), badge)
        try:
            with self._guard.act(who) as (db, by, now):
                done = act(db, person.badge, form, by, now)
        except Refusal as refusal:
            return self._page(request, who, person.badge, refused=refusal, typed=form)
        said = [words.format(person=done.person, what=done.what)]
        if done.again:
            said.append("That was so before.")
        if done.still_out:
            items = "1 item is" if done.still_out == 1 else f"{done.still_out} items are"
            said.append(f"{items} still out with them: see what is out.")
        return go(f"/people?badge={quote(person.badge, safe='')}", " ".join(said))


def _may_change(who: Visitor) -> bool:
    """Whether there is anything here that they could ever do."""
    return who.administrator or any(role in GIVERS for _, role in who.roles)


def _seen(db: Connection, who: Visitor) -> list[StaffLine]:
    """An administrator sees everybody; whoever gives roles those without one too; others their own sites'."""
    if who.administrator:
        return staff(db)
    if not who.sites:
        return []
    own = staff(db, who.sites)
    if not _may_change(who):
        return own
    return [line for line in staff(db) if not line.roles or line in own]


def _chosen(found: list[StaffLine], badge: str) -> StaffLine:
    line = next((line for line in found if line.badge == badge), None)
    if line is None:
        raise NotFound(f"Nobody with the badge {badge[:40]!r} is among those that you can see.")
    return line
