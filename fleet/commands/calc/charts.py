"""Charts read both ways, and passes."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.commands.calc.answers import asked, give
from fleet.commands.calc.reading import GaugeTag, Graduation, Item, Model, Points, Torque
from fleet.commands.printing import Json


def register(calc: typer.Typer) -> None:
    """Put the commands of this module on the group."""
    for command in (chart, passes):
        calc.command()(command)


def chart(
    context: typer.Context,
    points: Points = None,
    model: Model = None,
    item: Item = None,
    torque_given: Torque = None,
    pressure_given: Annotated[str | None, typer.Option("--pressure", "-p", help='"420 bar".')] = None,
    gauge: GaugeTag = None,
    graduation: Graduation = None,
    *,
    as_json: Json = False,
) -> None:
    """Pressure for a torque, or torque at a pressure, from a pressure-torque chart."""
    from fleet.papers.bench.charts import chart as answer

    given = asked(
        context,
        points,
        model=model,
        item=item,
        torque=torque_given,
        pressure=pressure_given,
        gauge=gauge,
        graduation=graduation,
    )
    give(answer(given), as_json=as_json)


def passes(
    context: typer.Context,
    *,
    bolts: Annotated[int, typer.Option("--bolts", "-n", help="Bolts of the flange, 3 to 200.")],
    torque_given: Annotated[str, typer.Option("--torque", "-t", help="Target torque.")],
    percents: Annotated[str, typer.Option("--percents", help="Rising to 100.")] = "30,60,100",
    points: Points = None,
    model: Model = None,
    item: Item = None,
    gauge: GaugeTag = None,
    graduation: Graduation = None,
    as_json: Json = False,
) -> None:
    """Order, torque and set pressure of each pass, and the round at the end."""
    from fleet.papers.bench.charts import passes as answer

    given = asked(
        context,
        points,
        bolts=bolts,
        torque=torque_given,
        percents=percents,
        model=model,
        item=item,
        gauge=gauge,
        graduation=graduation,
    )
    give(answer(given), as_json=as_json)
