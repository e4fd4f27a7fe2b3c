"""How well a torque is known, and the straight line through points."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fleet.commands.calc.answers import asked, give
from fleet.commands.calc.reading import GaugeTag, Graduation, Item, Model, Points
from fleet.commands.printing import Json


def register(calc: typer.Typer) -> None:
    """Put the commands of this module on the group."""
    for command in (budget, fit):
        calc.command()(command)


def budget(
    context: typer.Context,
    *,
    torque_given: Annotated[
        str | None, typer.Option("--torque", "-t", help="The torque to be set; a planned joint has its own.")
    ] = None,
    joint: Annotated[
        str | None, typer.Option("--joint", help="A planned joint, for its torque and tolerance: JOB/MARK.")
    ] = None,
    item: Item = None,
    model: Model = None,
    points: Points = None,
    gauge: GaugeTag = None,
    accuracy: Annotated[str | None, typer.Option("--class", "-c", help="1.6, 2A, B.")] = None,
    range_given: Annotated[str | None, typer.Option("--range", help='"1000 bar".')] = None,
    graduation: Graduation = None,
    wrench: Annotated[
        float | None, typer.Option("--wrench-accuracy", help="± % on the wrench's certificate.")
    ] = None,
    reference: Annotated[
        str | None,
        typer.Option("--reference", help="Expanded uncertainty (k = 2) of the reference, a torque."),
    ] = None,
    readings: Annotated[
        list[str] | None,
        typer.Option("--reading", help="Repeated readings of one torque; give it each time."),
    ] = None,
    tolerance: Annotated[
        float | None, typer.Option("--tolerance", help="What the joint allows, ± %.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Uncertainty of a torque set as a pressure: every share of it, against the joint's tolerance."""
    from fleet.papers.bench.certainty import budget as answer

    given = asked(
        context,
        points,
        torque=torque_given,
        joint=joint,
        item=item,
        model=model,
        gauge=gauge,
        **{"class": accuracy},
        range=range_given,
        graduation=graduation,
        wrench_accuracy=wrench,
        reference=reference,
        reading=readings,
        tolerance=tolerance,
    )
    give(answer(given), as_json=as_json)


def fit(
    context: typer.Context,
    points: Annotated[
        Path, typer.Option("--points", help="CSV or XLSX: x in the first column, y in the next.")
    ],
    at: Annotated[str | None, typer.Option("--at", help="Where the line is read.")] = None,
    origin: Annotated[float, typer.Option("--origin", help="Where the intercept stands.")] = 0.0,
    *,
    as_json: Json = False,
) -> None:
    """A straight line by least squares, with the uncertainty of its figures and of what is read off it."""
    from fleet.papers.bench.certainty import fit as answer

    give(answer(asked(context, points, at=at, origin=origin)), as_json=as_json)
