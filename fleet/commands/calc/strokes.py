"""Strokes and pumping time of a job, from the plates of wrench and pump or from figures of one's own."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.commands.calc.answers import asked, give
from fleet.commands.calc.reading import Item, Model, Points, Torque
from fleet.commands.printing import Json


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
    from fleet.papers.bench.strokes import strokes as answer

    given = asked(
        context,
        points,
        bolts=bolts,
        turn_degrees=turn_degrees,
        item=item,
        pump=pump,
        torque=torque_given,
        passes=pass_count,
        turn_per_stroke=turn_per_stroke,
        stroke_volume=stroke_volume,
        return_volume=return_volume,
        flow=flow,
        model=model,
    )
    give(answer(given), as_json=as_json)
