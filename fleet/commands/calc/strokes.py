"""Strokes and pumping time of a job, from the plates of wrench and pump or from figures of one's own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.calc.answers import Answer, give, pressure, torque
from fleet.commands.calc.gear import find_chart
from fleet.commands.calc.reading import Item, Model, Points, Torque, measure
from fleet.commands.door import door
from fleet.commands.printing import Json
from fleet.refusals import NotFound, Unreadable

if TYPE_CHECKING:
    from pathlib import Path

    from sqlalchemy.engine import Connection

    from fleet.lists.parts import Piece
    from fleet.rules.strokes import Oil, WrenchPlate

SOURCE = "Continuity: time = oil / flow; energy: V = T·θ/p"


def register(calc: typer.Typer) -> None:
    """Put the command of this module on the group."""
    calc.command()(strokes)


def strokes(
    context: typer.Context,
    *,
    bolts: Annotated[int, typer.Option("--bolts", "-n", help="How many nuts.")],
    turn_degrees: Annotated[float, typer.Option("--turn-degrees", help="What one nut is turned in a pass.")],
    item: Item = None,
    pump: Annotated[str | None, typer.Option("--pump", help="Tag of the pump in the register.")] = None,
    torque_given: Torque = None,
    pass_count: Annotated[int, typer.Option("--passes", help="How many passes.")] = 1,
    turn_per_stroke: Annotated[
        float | None, typer.Option("--turn-per-stroke", help="Degrees of one stroke.")
    ] = None,
    stroke_volume: Annotated[
        str | None, typer.Option("--stroke-volume", help="Oil of one advance stroke: 60, in cm³, or 4 in³.")
    ] = None,
    return_volume: Annotated[
        str | None, typer.Option("--return-volume", help="Oil of one return stroke.")
    ] = None,
    flow: Annotated[
        str | None,
        typer.Option("--flow", help="Flow at working pressure: 0.9, in L/min, or 55 in³/min."),
    ] = None,
    points: Points = None,
    model: Model = None,
    as_json: Json = False,
) -> None:
    """Strokes and pumping time per nut and for a job. What is given goes before what is on record."""
    from fleet.bolting.strokes import plan_strokes, strokes_for_angle
    from fleet.rules.cautions import FOR_PRESSURE

    asked = _Asked(turn_per_stroke, stroke_volume, return_volume)
    plate = asked.over(_plate(context, points, model, item, charted=stroke_volume is None))
    if plate.stroke_degrees is None:
        raise NotFound("The degrees of one stroke are not on record; give them with --turn-per-stroke.")
    per_nut = strokes_for_angle(turn_degrees, plate.stroke_degrees)
    torque_nm = None if torque_given is None else measure(torque_given, "torque")
    oil, assumed = _oil(plate, torque_nm, asked)
    l_min, said = _flow(context, pump, flow)
    plan = plan_strokes(bolts, per_nut, oil.advance_cm3, oil.return_cm3, l_min, pass_count)
    values = {
        "strokes_per_nut": plan.per_nut,
        "seconds_per_nut": plan.seconds_per_nut,
        "cycles": plan.cycles,
        "seconds_total": plan.seconds,
        "pump_minutes": plan.minutes,
        "degrees_per_stroke": plate.stroke_degrees,
        "stroke_volume_cm3": oil.advance_cm3,
        "stroke_volume_estimated": oil.estimated,
        "return_volume_cm3": oil.return_cm3,
        "flow_l_min": l_min,
    }
    estimated = ", estimated" if oil.estimated else ""
    facts = {
        "One stroke": f"{plate.stroke_degrees:g}°, {oil.advance_cm3:.4g} cm³ out{estimated}",
        "Strokes per nut": plan.per_nut,
        "Pumping time per nut": f"{plan.seconds_per_nut:,.1f} s",
        "Cycles for the job": f"{plan.cycles:,}",
        "Pumping time for the job": f"{plan.seconds / 60:,.1f} min",
    }
    give(Answer(values, facts, SOURCE, [*assumed, said], FOR_PRESSURE), as_json=as_json)


class _Asked:
    """What was given beside the register."""

    def __init__(self, degrees: float | None, advance: str | None, back: str | None) -> None:
        self.degrees = degrees
        self.advance = None if advance is None else measure(advance, "volume", unit="cm³")
        self.back = None if back is None else measure(back, "volume", unit="cm³")

    def over(self, plate: WrenchPlate) -> WrenchPlate:
        """The plate with what was given in place of what is on record."""
        from dataclasses import replace

        return replace(
            plate,
            stroke_degrees=plate.stroke_degrees if self.degrees is None else self.degrees,
            advance_cm3=plate.advance_cm3 if self.advance is None else self.advance,
            # A return volume on record belongs to the advance volume on record.
            return_cm3=self.back if self.back is not None or self.advance is not None else plate.return_cm3,
        )


def _plate(
    context: typer.Context, points: Path | None, model: str | None, item: str | None, *, charted: bool
) -> WrenchPlate:
    """What the register knows of the wrench or model, or a chart alone."""
    from fleet.lists.models import find_model
    from fleet.lists.parts import plate_of
    from fleet.rules.strokes import WrenchPlate

    if not charted and points is None and model is None and item is None:
        return WrenchPlate(None, None, None, None)
    if item is not None and points is None and model is None:
        with door(context).look() as (db, _now):
            return plate_of(_piece(db, item, "wrench"))
    if model is not None and points is None and item is None:
        with door(context).look() as (db, _now):
            found = find_model(db, model)
        known = (found.stroke_degrees, found.advance_volume_cm3, found.return_volume_cm3)
        chart = find_chart(context, None, model) if charted and known[1] is None else None
        return WrenchPlate(*known, chart)
    return WrenchPlate(None, None, None, find_chart(context, points, model, item))


def _piece(db: Connection, tag: str, kind: str) -> Piece:
    """An item as a piece; refused when it is something else."""
    from fleet.lists.items import find_item
    from fleet.lists.parts import pieces
    from fleet.measures.tags import show_tag

    (piece,) = pieces(db, [find_item(db, tag).id])
    if piece.kind != kind:
        raise NotFound(f"{show_tag(piece.tag)} is a {piece.kind}, not a {kind}.")
    return piece


def _oil(plate: WrenchPlate, torque_nm: float | None, asked: _Asked) -> tuple[Oil, list[str]]:
    """The oil of a stroke, and where it comes from."""
    from fleet.bolting.charts import pressure_for
    from fleet.rules.strokes import oil_of

    if torque_nm is not None and plate.chart is not None and plate.advance_cm3 is None:
        pressure_for(plate.chart, torque_nm)  # Refuses what is off the chart.
    oil = oil_of(plate, torque_nm)
    if oil is None:
        raise NotFound(
            "Neither the oil of a stroke nor a chart to estimate it from is on record; give --stroke-volume."
        )
    whence = "as given" if asked.advance is not None else "as on record"
    if oil.estimated and plate.chart is not None:
        top = plate.chart.top
        at = f"at {torque(torque_nm)}" if torque_nm else f"at its top, {torque(top.torque_nm)} at "
        at += "" if torque_nm else pressure(top.pressure_mpa)
        whence = f"estimated from the chart {at}, over {plate.stroke_degrees:g}°; a stroke really takes more"
    said = [f"A stroke takes {oil.advance_cm3:.4g} cm³ out, {whence}."]
    if oil.back_as_out:
        said.append("The return stroke takes as much oil as the advance stroke; it is really less.")
    return oil, said


def _flow(context: typer.Context, pump: str | None, flow: str | None) -> tuple[float, str]:
    """The pump's flow in L/min, and where it comes from."""
    if flow is not None:
        l_min, whence = measure(flow, "flow", unit="L/min"), "as given"
    elif pump is None:
        raise Unreadable("Name the pump with --pump, or give its flow with --flow, such as 0.9 L/min.")
    else:
        with door(context).look() as (db, _now):
            piece = _piece(db, pump, "pump")
        if piece.flow_l_min is None:
            raise NotFound(f"The flow of pump {pump} is not on record; give it with --flow.")
        l_min, whence = piece.flow_l_min, "as on record"
    return (
        l_min,
        f"The pump gives {l_min:.4g} L/min throughout, {whence}; moving from nut to nut is not counted.",
    )
