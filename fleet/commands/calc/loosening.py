"""What a nut may take to come off: by its thread, by a factor, and by what was measured before."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.commands.calc.answers import asked, give
from fleet.commands.calc.bolts import (
    BoltStress,
    GradeText,
    HeadMu,
    K,
    Mu,
    Nut,
    On,
    Percent,
    Preload,
)
from fleet.commands.calc.reading import Torque
from fleet.commands.printing import Json


def register(calc: typer.Typer) -> None:
    """Put the command of this module on the group."""
    calc.command()(loosen)


def loosen(
    context: typer.Context,
    *,
    joint: Annotated[
        str | None, typer.Option("--joint", help="A planned joint: JOB/MARK. What is given goes before it.")
    ] = None,
    thread: Annotated[str | None, typer.Option("--thread", help='"1 1/2-8 UN", "M36", "M36x3".')] = None,
    factor: Annotated[
        float | None,
        typer.Option("--factor", help="Loosening over tightening torque. Else as measured at the joint."),
    ] = None,
    reason: Annotated[
        str | None, typer.Option("--reason", "-r", help="Why this factor, in a sentence.")
    ] = None,
    grade: GradeText = None,
    stress_percent: Percent = None,
    preload: Preload = None,
    bolt_stress: BoltStress = None,
    torque_given: Torque = None,
    on: On = "tensile",
    nut_factor: K = None,
    friction: Mu = None,
    head_friction: HeadMu = None,
    nut: Nut = None,
    as_json: Json = False,
) -> None:
    """What a nut may take to come off: clean by thread mechanics, and with a factor and its reason."""
    from fleet.papers.bench.loosening import loosen as answer

    _check_given(joint, thread, factor, reason)
    given = asked(
        context,
        joint=joint,
        thread=thread,
        factor=factor,
        reason=reason,
        grade=grade,
        stress_percent=stress_percent,
        preload=preload,
        bolt_stress=bolt_stress,
        torque=torque_given,
        on=on,
        nut_factor=nut_factor,
        friction=friction,
        head_friction=head_friction,
        nut=nut,
    )
    give(answer(given), as_json=as_json)


def _check_given(joint: str | None, thread: str | None, factor: float | None, reason: str | None) -> None:
    """What must be given when no joint is named; misuse, as a missing option always is."""
    if joint is None and thread is None:
        raise typer.BadParameter("Missing option '--thread', or '--joint'.")
    if joint is None and factor is None:
        raise typer.BadParameter("Missing option '--factor', or '--joint'.")
    if factor is not None and reason is None:
        raise typer.BadParameter("Missing option '--reason': why this factor, in a sentence.")
    if factor is None and reason is not None:
        raise typer.BadParameter("A '--reason' belongs to a '--factor' of your own.")
