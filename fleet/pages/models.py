"""Models: what is marked on their plates, their ports and their charts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.parts import Kind
from fleet.lists.models import chart_points, find_model, models, ports
from fleet.pages.drawing import draw
from fleet.pages.finding import own_site, own_sites
from fleet.pages.guard import Guard
from fleet.pages.pictures import picture_of_chart
from fleet.pages.plates import plate_of, points_of
from fleet.pages.reading import rating_both, units_of

if TYPE_CHECKING:
    from fleet.lists.models import ModelLine

MOST_ROWS = 100


class Models:
    """The list and the page of a model. A model belongs to no site; units are those of the visitor."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/models", self.show_models, methods=["GET"], response_model=None)
        # Asked for and not part of the way: designations hold whatever people write, slashes too.
        router.add_api_route("/model", self.show_model, methods=["GET"], response_model=None)
        return router

    def show_models(self, request: Request, kind: str = "", about: str = "") -> Response:
        who = self._guard.sure(request)
        of_kind, asked = kind if kind in set(Kind) else "", about.strip()[:80]
        with self._guard.look() as (db, _now):
            units = units_of(own_site(db, who))
            found = [one for one in models(db, kind=of_kind or None) if _is_about(one, asked)]
        rows = [
            (one, rating_both(one.mwp_advance_written, one.mwp_advance_mpa, units) or one.range_written or "")
            for one in found[:MOST_ROWS]
        ]
        said = {"kinds": list(Kind), "kind": of_kind, "about": asked, "rows": rows, "count": len(found)}
        return draw(request, self._room, "items/models.html", who, 200, **said)

    def show_model(self, request: Request, named: str = "") -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, _now):
            site, mine = own_site(db, who), {one.code for one in own_sites(db, who)}
            model = find_model(db, named)
            its_ports, points = ports(db, model), chart_points(db, model)
        units = units_of(site)
        shown = [point for point in points if point.tag is None]
        said = {
            "model": model,
            "plate": plate_of(model, units),
            "ports": [(port, rating_both(port.mwp_written, port.mwp_mpa, units)) for port in its_ports],
            "points": points_of(shown, site),
            "chart": picture_of_chart(shown, f"Pressure-torque chart of {model.model}", site),
            "site": site,
            "mine": mine,
        }
        return draw(request, self._room, "items/model.html", who, 200, **said)


def _is_about(model: ModelLine, asked: str) -> bool:
    return asked.casefold() in f"{model.model} {model.description or ''}".casefold()
