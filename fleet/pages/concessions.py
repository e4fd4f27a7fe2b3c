"""Concessions: those that run and those of the last year, and how many there were per 100 items out."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.lists.concessions import concessions_since
from fleet.lists.trends import YEAR, concession_rate
from fleet.pages.drawing import draw
from fleet.pages.finding import own_site, own_sites
from fleet.pages.guard import Guard

AT_A_TIME = 100


class Concessions:
    """The list, by site."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/concessions", self.show, methods=["GET"], response_model=None)
        return router

    def show(self, request: Request, site: str = "") -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, now):
            chosen = own_site(db, who, site)
            found = concessions_since(db, chosen, since=now - YEAR)
            told = {
                "sites": own_sites(db, who),
                "site": chosen,
                "running": [line for line in found if line.in_force(now)],
                "past": [line for line in found if line.ends_at <= now][:AT_A_TIME],
                "more": max(sum(line.ends_at <= now for line in found) - AT_A_TIME, 0),
                "rate": concession_rate(db, chosen, now=now),
            }
        return draw(request, self._room, "concessions.html", who, 200, **told)
