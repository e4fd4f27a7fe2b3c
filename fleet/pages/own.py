"""What is one's own: sessions, the PIN for the counter, the second factor, the units one reads."""

from __future__ import annotations

from typing import TYPE_CHECKING

import segno
from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup

from fleet.desk.logins import end_station, enrol_station, invite, set_pin, set_second_factor, set_units
from fleet.lists.access import login_of, sessions, stations
from fleet.lists.people import people
from fleet.lists.sites import find_site, sites
from fleet.pages.drawing import draw
from fleet.pages.guard import STATION, STATION_LASTS, Guard, Typed, go, keep_cookie
from fleet.refusals import Refusal, Unreadable
from fleet.rules.register import PressureUnit, TorqueUnit
from fleet.rules.secrets import new_totp_secret

if TYPE_CHECKING:
    from fleet.lists.access import Visitor


class Own:
    """One's own page, and what an administrator does for others."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/own", self.show_own, methods=["GET"], response_model=None)
        router.add_api_route("/own/units", self.choose_units, methods=["POST"], response_model=None)
        router.add_api_route("/own/pin", self.choose_pin, methods=["POST"], response_model=None)
        router.add_api_route("/own/second-factor", self.show_factor, methods=["GET"], response_model=None)
        router.add_api_route("/own/second-factor", self.set_factor, methods=["POST"], response_model=None)
        router.add_api_route("/stations", self.make_station, methods=["POST"], response_model=None)
        router.add_api_route(
            "/stations/{station}/end", self.stop_station, methods=["POST"], response_model=None
        )
        router.add_api_route("/invitations", self.make_invitation, methods=["POST"], response_model=None)
        return router

    def _own_page(self, request: Request, who: Visitor, status: int = 200, **said: object) -> Response:
        with self._room.look() as db:
            facts = login_of(db, who.badge)
            told = {
                "sessions": sessions(db, who.person_id),
                "has_pin": bool(facts and facts.pin_hash),
                "has_factor": bool(facts and facts.totp_secret),
                "sites": sites(db),
                "stations": stations(db),
                "people": [one for one in people(db) if one.active],
                "pressure_units": list(PressureUnit),
                "torque_units": list(TorqueUnit),
                "link": None,
            }
        return draw(request, self._room, "own.html", who, status, **(told | said))

    def show_own(self, request: Request) -> Response:
        return self._own_page(request, self._guard.sure(request))

    def choose_units(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        pressure, torque = form.get("pressure") or None, form.get("torque") or None
        if pressure not in (None, *PressureUnit) or torque not in (None, *TorqueUnit):
            raise Unreadable("Choose one of the units that are offered.")
        with self._guard.act(who) as (db, _by, _now):
            set_units(db, who, pressure, torque)
        return go("/own")

    def choose_pin(self, request: Request, form: Typed) -> Response:
        who = self._guard.confirmed(request)
        try:
            with self._guard.act(who) as (db, _by, now):
                set_pin(db, who, form.get("pin"), now=now)
        except Refusal as refusal:
            return self._own_page(request, who, 422, error=str(refusal))
        return go("/own")

    def show_factor(self, request: Request) -> Response:
        return self._factor_page(request, self._guard.known(request), new_totp_secret())

    def set_factor(self, request: Request, form: Typed) -> Response:
        who, secret = self._guard.known(request), form.get("secret")
        with self._room.look() as db:
            facts = login_of(db, who.badge)
        if facts and facts.totp_secret:
            self._guard.confirmed(request)
        try:
            with self._guard.act(who) as (db, _by, now):
                clock = self._room.clock()
                set_second_factor(db, who, secret, form.get("code"), now=now, clock=clock)
        except (Refusal, ValueError) as error:
            sentence = str(error) if isinstance(error, Refusal) else "Begin again with the code shown here."
            return self._factor_page(request, who, secret, sentence)
        return go("/")

    def _factor_page(self, request: Request, who: Visitor, secret: str, error: str | None = None) -> Response:
        # As the programs for it read it (the key URI in common use; no standard describes it).
        uri = f"otpauth://totp/fleet:{who.badge}?secret={secret}&issuer=fleet"
        drawn = segno.make(uri, error="m").svg_inline(scale=5, border=4, svgclass=None, lineclass=None)
        said = {"secret": secret, "picture": Markup(drawn), "error": error}  # noqa: S704  Drawn by us; nothing typed is in it.
        return draw(request, self._room, "factor.html", who, 422 if error else 200, **said)

    def make_station(self, request: Request, form: Typed) -> Response:
        who = self._guard.confirmed(request)
        with self._guard.act(who) as (db, by, now):
            site = find_site(db, form.get("site"))
            token = enrol_station(db, site.id, site.name, form.get("name"), by=by, now=now)
        answer = go("/own")
        keep_cookie(answer, STATION, token, STATION_LASTS)
        return answer

    def stop_station(self, request: Request, station: int, _form: Typed) -> Response:
        who = self._guard.confirmed(request)
        with self._guard.act(who) as (db, by, now):
            end_station(db, station, by=by, now=now)
        return go("/own")

    def make_invitation(self, request: Request, form: Typed) -> Response:
        who = self._guard.confirmed(request)
        with self._guard.act(who) as (db, by, now):
            token = invite(db, form.get("badge"), by=by, now=now)
        link = f"{request.url.scheme}://{request.url.netloc}/invited/{token}"
        return self._own_page(request, who, link=link)
