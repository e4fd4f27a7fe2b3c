"""A verdict on a reading."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.commands.calc.answers import asked, give
from fleet.commands.printing import Json


def register(calc: typer.Typer) -> None:
    """Put the command of this module on the group."""
    calc.command()(verdict)


def verdict(
    context: typer.Context,
    reading: Annotated[str, typer.Option("--reading", help="What was measured.")],
    uncertainty: Annotated[
        str | None, typer.Option("--uncertainty", "-U", help="Its expanded uncertainty.")
    ] = None,
    nominal: Annotated[str | None, typer.Option("--nominal", help="What it should be.")] = None,
    lower: Annotated[str | None, typer.Option("--lower", help="Lower tolerance limit.")] = None,
    upper: Annotated[str | None, typer.Option("--upper", help="Upper tolerance limit.")] = None,
    k: Annotated[float, typer.Option("--k", help="Coverage factor of the uncertainty.")] = 2.0,
    guard: Annotated[float, typer.Option("--guard", help="Guard band: 0, 0.83 or 1 times U.")] = 1.0,
    *,
    as_json: Json = False,
) -> None:
    """Pass or fail by a decision rule, with the acceptance limits and the probability of conformance."""
    from fleet.papers.bench.verdicts import verdict as answer

    given = asked(
        context,
        reading=reading,
        uncertainty=uncertainty,
        nominal=nominal,
        lower=lower,
        upper=upper,
        k=k,
        guard=guard,
    )
    give(answer(given), as_json=as_json)
