"""Threads, tightening and the force at the reaction point."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.commands.calc.answers import asked, give
from fleet.commands.calc.reading import Torque
from fleet.commands.printing import Json

ThreadText = Annotated[str, typer.Option("--thread", help='"1 1/2-8 UN", "M36", "M36x3".')]
GradeText = Annotated[str | None, typer.Option("--grade", help="B7, B16, L7, 8.8, 10.9 …")]
Percent = Annotated[float | None, typer.Option("--stress-percent", help="Bolt stress as a share of yield.")]
Preload = Annotated[str | None, typer.Option("--preload", help='Bolt load: "340 kN".')]
BoltStress = Annotated[str | None, typer.Option("--bolt-stress", help='"345 MPa", "50 ksi".')]
On = Annotated[str, typer.Option("--on", help="Stress is counted on: tensile or root area.")]
K = Annotated[float | None, typer.Option("--nut-factor", "-k", help="Nut factor K of the lubricant.")]
Mu = Annotated[float | None, typer.Option("--friction", help="Coefficient of friction in the thread.")]
HeadMu = Annotated[
    float | None, typer.Option("--head-friction", help="Under the nut; the thread's when left out.")
]
Nut = Annotated[
    str | None,
    typer.Option("--nut", help='heavy, regular, iso, din or asme-metric; or as measured: "2 3/8 in".'),
]


def register(calc: typer.Typer) -> None:
    """Put the commands of this module on the group."""
    for command in (thread, torque_command, reaction):
        calc.command(command.__name__.removesuffix("_command"))(command)


def thread(
    context: typer.Context,
    designation: Annotated[str, typer.Argument(metavar="THREAD", help='"1 1/2-8 UN", "M36x3".')],
    nut: Nut = None,
    *,
    as_json: Json = False,
) -> None:
    """Areas, pitch diameter and nut size of a thread."""
    from fleet.papers.bench.bolts import thread as answer

    give(answer(asked(context, thread=designation, nut=nut)), as_json=as_json)


def torque_command(
    context: typer.Context,
    *,
    thread: ThreadText,
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
    """Torque from bolt load, or bolt load from torque, with the stress reached."""
    from fleet.papers.bench.bolts import torque as answer

    given = asked(
        context,
        thread=thread,
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


def reaction(
    context: typer.Context,
    torque_given: Annotated[str, typer.Option("--torque", "-t", help='"9400 N·m".')],
    arm: Annotated[str, typer.Option("--arm", help='From the drive\'s axis to the point: "150 mm".')],
    *,
    as_json: Json = False,
) -> None:
    """The force with which the reaction arm bears on its point."""
    from fleet.papers.bench.bolts import reaction as answer

    give(answer(asked(context, torque=torque_given, arm=arm)), as_json=as_json)
