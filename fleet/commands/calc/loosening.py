"""What a nut may take to come off: by its thread, by a factor, and by what was measured before."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.calc.answers import Answer, give, torque
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
    worked,
)
from fleet.commands.calc.gear import find_joint_on_plan
from fleet.commands.calc.reading import Torque
from fleet.commands.door import door
from fleet.commands.printing import Json
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from fleet.lists.jobs import JointLine
    from fleet.rules.breakouts import Spread


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
    from fleet.bolting.loosening import needed_torque
    from fleet.rules.cautions import FOR_LOOSENING

    _check_given(joint, thread, factor, reason)
    planned, before = _look_up(context, joint) if joint else (None, None)
    asked = {"stress_percent": stress_percent, "preload": preload, "bolt_stress": bolt_stress}
    if planned and not torque_given and not any(asked.values()):
        torque_given = planned.torque_written
    chosen_thread = thread or (planned.thread if planned else None)
    if not chosen_thread:
        raise NotPossible(f"No thread is planned for {joint}; give it with --thread.")
    bolt, assumed, source, name = worked(
        chosen_thread,
        grade,
        on,
        (nut_factor, friction, head_friction, nut or (planned.nut_series if planned else None)),
        asked | {"torque": torque_given},
    )
    chosen, why = (factor, reason or "") if factor is not None else _factor(planned, before)
    need = needed_torque(bolt.torque_nm, chosen, why)
    ratio = bolt.clean_ratio
    values: dict[str, object] = {
        "tightening_torque_nm": bolt.torque_nm,
        "loosening_torque_clean_nm": bolt.loosening_clean_nm,
        "needed_torque_nm": need.needed_nm,
        "ratio": ratio,
    }
    if planned:
        values |= {"factor": chosen, "reason": why, "measured_before": before}
    facts = {
        "Thread": name,
        "Tightening torque": torque(bolt.torque_nm, "UP"),
        "Loosening torque, clean": f"{torque(bolt.loosening_clean_nm, 'UP')}, {ratio:.2f} of tightening",
        **_measured(before),
        "Loosening may ask": f"{torque(need.loosening_nm, 'UP')}, {chosen:.4g} × tightening",
        "Needed": f"{torque(need.needed_nm, 'UP')}, for {need.governs}",
    }
    assumed += [
        f"The factor is {chosen:.4g}, because: {' '.join(why.split())}. No public standard fixes one.",
        "The ratio is clean loosening over tightening, with the same friction both ways.",
    ]
    source = f"T_off = T_on − F·P/π, the screw with friction raising and lowering its load; {source}"
    if before and before.bound_nm is not None:
        source += "; bound for one further value ISO 16269-8 (from memory)"
        assumed.append("The bound takes breakouts for normally distributed, which they seldom are.")
    give(Answer(values, facts, source, assumed, FOR_LOOSENING), as_json=as_json)


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


def _look_up(context: typer.Context, text: str) -> tuple[JointLine, Spread | None]:
    """The planned joint, and what was measured at it in any job."""
    from fleet.lists.breakouts import measured_before
    from fleet.lists.jobs import find_job

    planned = find_joint_on_plan(context, text)
    with door(context).look() as (db, _now):
        return planned, measured_before(db, find_job(db, planned.job).site, planned.mark)


def _factor(planned: JointLine | None, before: Spread | None) -> tuple[float, str]:
    """The factor that was measured, else the planned one, with its reason."""
    from fleet.rules.breakouts import MEASURED, implied_factor

    if planned and before:
        return implied_factor(before, planned.torque_nm), MEASURED
    if planned and planned.loosening_factor is not None and planned.loosening_reason:
        return planned.loosening_factor, planned.loosening_reason
    mark = planned.mark if planned else "the joint"
    raise NotPossible(
        f"No breakout was measured at {mark} and no loosening factor is planned for it; give --factor with "
        "its --reason."
    )


def _measured(before: Spread | None) -> dict[str, object]:
    """What was measured, in facts."""
    if before is None:
        return {}
    spread = (
        "" if before.deviation_nm is None else f", standard deviation {torque(before.deviation_nm, 'UP')}"
    )
    return {
        "Measured before": f"{before.count}, highest {torque(before.highest_nm, 'UP')}",
        "Lowest measured": torque(before.lowest_nm, "DOWN") if before.count > 1 else None,
        "Mean measured": f"{torque(before.mean_nm)}{spread}" if before.count > 1 else None,
        "Next one, 95 %": None if before.bound_nm is None else f"at most {torque(before.bound_nm, 'UP')}",
    }
