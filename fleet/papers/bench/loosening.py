"""What a nut may take to come off: by its thread, by a factor, and by what was measured before."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.bolting.loosening import needed_torque
from fleet.papers.bench.answers import Answer
from fleet.papers.bench.asked import Asked, about
from fleet.papers.bench.bolts import worked
from fleet.refusals import NotPossible
from fleet.rules.breakouts import MEASURED, implied_factor
from fleet.rules.cautions import FOR_LOOSENING

if TYPE_CHECKING:
    from fleet.bolting.figures import Units
    from fleet.lists.jobs import JointLine
    from fleet.rules.breakouts import Spread


def loosen(asked: Asked) -> Answer:
    """What a nut may take to come off: clean by thread mechanics, and with a factor and its reason."""
    _refuse_half_given(asked)
    planned, before = _look_up(asked)
    thread = asked.text("thread") or (planned.thread if planned else None)
    if not thread:
        raise NotPossible(
            f"No thread is planned for {asked.text('joint')}; give it with {asked.called('thread')}."
        )
    nut = asked.text("nut") or (planned.nut_series if planned else None)
    bolt, assumed, source, name = worked(_with_torque(asked, planned), thread, nut)
    chosen, why = _factor(asked, planned, before)
    with about("reason" if asked.given("factor") else "joint"):
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
    needed = asked.units.needed
    facts = {
        "Thread": name,
        "Tightening torque": needed(bolt.torque_nm),
        "Loosening torque, clean": f"{needed(bolt.loosening_clean_nm)}, {ratio:.2f} of tightening",
        **_measured(before, asked.units),
        "Loosening may ask": f"{needed(need.loosening_nm)}, {chosen:.4g} × tightening",
        "Needed": f"{needed(need.needed_nm)}, for {need.governs}",
    }
    assumed += [
        f"The factor is {chosen:.4g}, because: {' '.join(why.split())}. No public standard fixes one.",
        "The ratio is clean loosening over tightening, with the same friction both ways.",
    ]
    source = f"T_off = T_on − F·P/π, the screw with friction raising and lowering its load; {source}"
    if before and before.bound_nm is not None:
        source += "; bound for one further value ISO 16269-8 (from memory)"
        assumed.append("The bound takes breakouts for normally distributed, which they seldom are.")
    return Answer(values, facts, source, assumed, FOR_LOOSENING)


def _refuse_half_given(asked: Asked) -> None:
    """What must be given when no joint is named, and what belongs together."""
    joint, factor = asked.called("joint"), asked.called("factor")
    for name in ("thread", "factor"):
        if not asked.given("joint") and not asked.given(name):
            raise asked.amiss(name, f"{asked.called(name)} is missing, or a planned {joint}.")
    if asked.given("factor") and not asked.given("reason"):
        raise asked.amiss("reason", f"{asked.called('reason')} is missing: why this factor, in a sentence.")
    if asked.given("reason") and not asked.given("factor"):
        raise asked.amiss("factor", f"{asked.called('reason')} belongs to a {factor} of your own.")


def _look_up(asked: Asked) -> tuple[JointLine | None, Spread | None]:
    """The planned joint, and what was measured at it in any job."""
    joint = asked.text("joint")
    if joint is None:
        return None, None
    with about("joint"):
        return asked.register().joint_with_breakouts(joint)


def _with_torque(asked: Asked, planned: JointLine | None) -> Asked:
    """The planned torque, where no load was given in any way."""
    if planned is None or any(
        asked.given(name) for name in ("torque", "stress_percent", "preload", "bolt_stress")
    ):
        return asked
    fields = {**asked.fields, "torque": planned.torque_written}
    return Asked(fields, asked.called, asked.register, asked.units)


def _factor(asked: Asked, planned: JointLine | None, before: Spread | None) -> tuple[float, str]:
    """The factor as given, else as measured, else as planned, with its reason."""
    own = asked.number("factor")
    if own is not None:
        return own, asked.text("reason") or ""
    if planned and before:
        return implied_factor(before, planned.torque_nm), MEASURED
    if planned and planned.loosening_factor is not None and planned.loosening_reason:
        return planned.loosening_factor, planned.loosening_reason
    mark = planned.mark if planned else "the joint"
    raise NotPossible(
        f"No breakout was measured at {mark} and no loosening factor is planned for it; give "
        f"{asked.called('factor')} with its {asked.called('reason')}."
    )


def _measured(before: Spread | None, units: Units) -> dict[str, object]:
    """What was measured, in facts."""
    if before is None:
        return {}
    deviation = before.deviation_nm
    spread = "" if deviation is None else f", standard deviation {units.needed(deviation)}"
    return {
        "Measured before": f"{before.count}, highest {units.needed(before.highest_nm)}",
        "Lowest measured": units.given(before.lowest_nm) if before.count > 1 else None,
        "Mean measured": f"{units.target(before.mean_nm)}{spread}" if before.count > 1 else None,
        "Next one, 95 %": None if before.bound_nm is None else f"at most {units.needed(before.bound_nm)}",
    }
