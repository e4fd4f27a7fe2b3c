"""When to calibrate again, by the published methods."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fleet.commands.calc.answers import asked, give
from fleet.commands.printing import Json

METHODS = ("test", "staircase", "control-chart", "in-use-time", "in-service-checking")


def register(calc: typer.Typer) -> None:
    """Put the command of this module on the group."""
    calc.command()(interval)


def interval(
    context: typer.Context,
    *,
    current: Annotated[str, typer.Option("--interval", help="The interval now: 365d or 52w.")],
    method: Annotated[str, typer.Option("--method", help=" | ".join(METHODS))] = "test",
    within: Annotated[int | None, typer.Option("--in-tolerance", help="How many were found good …")] = None,
    count: Annotated[int | None, typer.Option("--of", help="… of how many.")] = None,
    target: Annotated[
        float | None, typer.Option("--target", help="Share that is wanted, as in 0.90.")
    ] = None,
    confidence: Annotated[float, typer.Option("--confidence", help="At which the evidence decides.")] = 0.95,
    shares: Annotated[
        str | None,
        typer.Option("--shares", help="Staircase: errors as found, in % of tolerance, oldest first: 40,65."),
    ] = None,
    checks: Annotated[
        str | None,
        typer.Option("--checks", help="In-service checks, in % of the check limit, oldest first: 20,35."),
    ] = None,
    points: Annotated[
        Path | None, typer.Option("--points", help="Control chart: days, then error in % of tolerance.")
    ] = None,
    most_use: Annotated[float | None, typer.Option("--most-use", help="In-use time: the limit.")] = None,
    used: Annotated[float | None, typer.Option("--used", help="In-use time: counted use …")] = None,
    over: Annotated[str | None, typer.Option("--over", help="… over how long: 90d.")] = None,
    lengthen: Annotated[float, typer.Option("--lengthen", help="The room's step up, %.")] = 25.0,
    shorten: Annotated[float, typer.Option("--shorten", help="The room's step down, %.")] = 50.0,
    good: Annotated[float, typer.Option("--good", help="The room's bound of a good result, %.")] = 80.0,
    good_results: Annotated[
        int, typer.Option("--good-results", help="How many in a row lengthen, in this room.")
    ] = 1,
    shortest: Annotated[str, typer.Option("--shortest", help="The room's shortest.")] = "30d",
    longest: Annotated[str, typer.Option("--longest", help="The room's longest.")] = "1095d",
    as_json: Json = False,
) -> None:
    """Propose a calibration interval by a published method, with the evidence. Changes nothing."""
    from fleet.papers.bench.intervals import interval as answer

    given = asked(
        context,
        points,
        interval=current,
        method=method,
        in_tolerance=within,
        of=count,
        target=target,
        confidence=confidence,
        shares=shares,
        checks=checks,
        most_use=most_use,
        used=used,
        over=over,
        lengthen=lengthen,
        shorten=shorten,
        good=good,
        good_results=good_results,
        shortest=shortest,
        longest=longest,
    )
    give(answer(given), as_json=as_json)
