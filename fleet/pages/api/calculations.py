"""A handful of the engineering bench: figures with their source, what they assume and what to mind."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.charts import ChartPoint, make_chart, pressure_for
from fleet.bolting.figures import Units
from fleet.bolting.loosening import cover, needed_torque, say_cover
from fleet.bolting.passes import plan_passes
from fleet.bolting.threads import read_thread
from fleet.bolting.tightening import NutFactor, tighten
from fleet.lists.models import chart_points, find_model
from fleet.lists.parts import pieces
from fleet.measures.quantities import Kind, Measure, read_measure
from fleet.pages.api.asked import CoverRequest, OnAChart, PassesRequest, PreloadRequest, SetPressureRequest
from fleet.pages.api.own import item_of, site_of
from fleet.pages.api.shapes import tell
from fleet.pages.api.shapes_of_acts import LooseningCover, Passes, PreloadTorque, SetPressure
from fleet.refusals import NotFound, Unreadable
from fleet.rules.cautions import FOR_LOOSENING, FOR_TIGHTENING
from fleet.rules.sources import SOURCE_OF_PASSES
from fleet.rules.tokens import Scope

if TYPE_CHECKING:
    from fleet.bolting.charts import Chart
    from fleet.pages.api.bearer import Asking, Gate

_BETWEEN = "The chart is read by straight lines between its points."


class Calculations:
    """Set pressure, passes, loosening cover, torque of a bolt load."""

    def __init__(self, gate: Gate) -> None:
        self._gate = gate

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(tags=["calculations"])
        for path, answer, shape in (
            ("/calculations/set-pressure", self.set_pressure, SetPressure),
            ("/calculations/passes", self.passes, Passes),
            ("/calculations/loosening-cover", self.loosening_cover, LooseningCover),
            ("/calculations/torque-from-preload", self.torque_from_preload, PreloadTorque),
        ):
            router.add_api_route(path, answer, methods=["POST"], response_model=shape)
        return router

    def set_pressure(self, request: Request, asked: SetPressureRequest) -> Response:
        """The pressure that gives a torque, by an item's own chart, a model's, or points of one's own."""
        with self._gate.look(request, Scope.READ) as asking:
            chart = _chart(asking, asked)
        if chart is None:
            raise Unreadable("Name the item or the model whose chart is read, or give its points.")
        torque = read_measure(asked.torque, Kind.TORQUE)
        units = _units(asked, torque)
        found = pressure_for(chart, torque.base, units)
        said = {
            "pressure": units.setting(found.pressure_mpa),
            "pressure_mpa": found.pressure_mpa,
            "torque_nm": found.torque_nm,
            "chart": chart.source,
            "approximate": found.approximate,
            "assumptions": [_BETWEEN],
            "source": SOURCE_OF_PASSES,
            "cautions": FOR_TIGHTENING,
        }
        return tell(SetPressure, said)

    def passes(self, request: Request, asked: PassesRequest) -> Response:
        """Order, torque and set pressure of each pass, and the round at the end."""
        with self._gate.look(request, Scope.READ) as asking:
            chart = _chart(asking, asked)
        torque = read_measure(asked.torque, Kind.TORQUE)
        found = plan_passes(chart, torque.base, asked.bolts, asked.percents, _units(asked, torque))
        told = [
            {
                "number": one.number,
                "percent": one.percent,
                "torque_nm": one.torque_nm,
                "pressure_mpa": one.reading.pressure_mpa if one.reading else None,
                "order": one.order,
                "circular": one.circular,
                "below_chart": one.below_chart,
                "note": one.note,
            }
            for one in found
        ]
        assumed = ["Bolts are numbered round the flange. The percentages are yours; 30, 60, 100 are usual."]
        assumed.append(_BETWEEN if chart else "No chart was named, so there are no set pressures.")
        said = {"passes": told, "assumptions": assumed, "source": SOURCE_OF_PASSES}
        return tell(Passes, said | {"cautions": FOR_TIGHTENING})

    def loosening_cover(self, request: Request, asked: CoverRequest) -> Response:
        """Whether what a kit can give covers the joint, also when its nuts have to come off again."""
        with self._gate.look(request, Scope.READ):
            pass
        torque, available = (read_measure(one, Kind.TORQUE) for one in (asked.torque, asked.available))
        if not available.base > 0:
            raise Unreadable("What the kit can give must be above zero.")
        need = needed_torque(torque.base, asked.factor, asked.reason)
        found = cover(available.base, need.needed_nm)
        said = {
            "verdict": say_cover(found, available.base, need.needed_nm, Units(torque=torque.unit)),
            "state": found.state,
            "margin_percent": found.margin_percent,
            "tightening_nm": need.tightening_nm,
            "loosening_nm": need.loosening_nm,
            "needed_nm": need.needed_nm,
            "governs": need.governs,
            "assumptions": [f"The factor is {asked.factor:g}, because: {asked.reason.strip()}"],
            "source": "The larger of tightening and loosening; no public standard fixes a factor.",
            "cautions": FOR_LOOSENING,
        }
        return tell(LooseningCover, said)

    def torque_from_preload(self, request: Request, asked: PreloadRequest) -> Response:
        """The torque that brings a bolt load, by the nut factor of the lubricant."""
        with self._gate.look(request, Scope.READ):
            pass
        thread = read_thread(asked.thread)
        load = read_measure(asked.preload, Kind.FORCE)
        found = tighten(thread, load.base, NutFactor(asked.nut_factor), asked.area, asked.grade)
        said = {
            "thread": thread.designation,
            "torque_nm": found.torque_nm,
            "preload_n": found.preload_n,
            "stress_mpa": found.stress_mpa,
            "percent_of_yield": found.percent_of_yield,
            "loosening_clean_nm": found.loosening_clean_nm,
            "assumptions": [
                f"K = {asked.nut_factor:g}, as given: it belongs to one lubricant and batch.",
                f"Stress is counted on the {asked.area}.",
            ],
            "source": "T = K·d·F (the short form; from memory)",
            "cautions": FOR_TIGHTENING,
        }
        return tell(PreloadTorque, said)


def _units(asked: OnAChart, torque: Measure) -> Units:
    """As the question was asked: its torque, and the pressures of its points where it brought some."""
    if asked.points:
        return Units(read_measure(asked.points[0].pressure, Kind.PRESSURE).unit, torque.unit)
    return Units(torque=torque.unit)


def _chart(asking: Asking, asked: OnAChart) -> Chart | None:
    """The chart that was named, if one was."""
    if sum(one is not None for one in (asked.item, asked.model, asked.points)) > 1:
        raise Unreadable("Name one chart: of an item, of a model, or its points.")
    if asked.points:
        return make_chart([_point(one.pressure, one.torque) for one in asked.points], "points as given")
    if asked.item:
        found = pieces(asking.db, [item_of(asking, asked.item)[0].id])[0].chart
    elif asked.model:
        site_of(asking)
        model = find_model(asking.db, asked.model)
        points = [point for point in chart_points(asking.db, model) if point.tag is None]
        pairs = [ChartPoint(point.pressure_mpa, point.torque_nm) for point in points]
        found = make_chart(pairs, points[0].source) if pairs else None
    else:
        return None
    if found is None:
        raise NotFound(f"There is no pressure-torque chart of {asked.item or asked.model} on record.")
    return found


def _point(pressure: str, torque: str) -> ChartPoint:
    return ChartPoint(read_measure(pressure, Kind.PRESSURE).base, read_measure(torque, Kind.TORQUE).base)
