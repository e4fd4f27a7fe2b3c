"""The circuit of a kit, and what a gauge may be off."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.commands.calc.answers import asked, give
from fleet.commands.printing import Json


def register(calc: typer.Typer) -> None:
    """Put the commands of this module on the group."""
    for command in (circuit, gauge):
        calc.command()(command)


def circuit(
    context: typer.Context,
    more: Annotated[list[str] | None, typer.Argument(metavar="[TAG]...", help="Further tags.")] = None,
    items: Annotated[
        list[str] | None, typer.Option("--items", help="Tags, with commas or one after the other.")
    ] = None,
    set_pressure: Annotated[
        str | None, typer.Option("--pressure", "-p", help="Where the gauge will be read.")
    ] = None,
    *,
    as_json: Json = False,
) -> None:
    """Do these items fit each other, and what may each line stand: part by part."""
    from fleet.papers.bench.circuits import circuit as answer

    given = asked(context, items=[*(items or ()), *(more or ())], pressure=set_pressure)
    give(answer(given), as_json=as_json)


def gauge(
    context: typer.Context,
    accuracy: Annotated[str, typer.Option("--class", "-c", help="EN 837-1 class or ASME grade: 1.6, 2A, B.")],
    range_given: Annotated[str, typer.Option("--range", help='End of the scale: "1000 bar".')],
    at: Annotated[str, typer.Option("--at", help='Where it is read: "250 bar".')],
    *,
    as_json: Json = False,
) -> None:
    """How far a gauge may be off at a reading, by its class or grade."""
    from fleet.papers.bench.circuits import gauge as answer

    give(answer(asked(context, **{"class": accuracy}, range=range_given, at=at)), as_json=as_json)
