"""The figures of a kit at a joint, as they are written wherever they are shown."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.bolting.figures import Units, left_over, shown
from fleet.measures.quantities import Kind, Rounding
from fleet.rules.breakouts import say_spread

if TYPE_CHECKING:
    from fleet.rules.kits import JointFacts, KitVerdict


def kit_figures(verdict: KitVerdict, joint: JointFacts, units: Units) -> dict[str, str | None]:
    """What is asked and what the kit gives: demands rounded up, what can be given down."""
    need = verdict.need
    factor = f"{joint.loosening_factor:g} × tightening, because: {joint.loosening_reason}"
    if joint.measured and any(one.code == "breakouts-above-plan" for one in verdict.findings):
        factor = "the highest measured before"
    asked, setting, most = verdict.set_pressure, verdict.gauge_setting, verdict.available
    cover = str(verdict.covered)
    if verdict.margin_percent is not None:
        cover += f", margin {left_over(verdict.margin_percent)} %"
    return {
        "Chart": verdict.chart_source,
        "Target torque": units.needed(need.tightening_nm),
        "Set pressure": units.setting(asked.pressure_mpa) if asked else None,
        "Set on the gauge": f"{units.reading(setting.pressure_mpa)}, giving {units.target(setting.torque_nm)}"
        if setting
        else None,
        "Measured before": say_spread(joint.measured, units) if joint.measured else None,
        "Loosening may ask": f"{units.needed(need.loosening_nm)} ({factor})",
        "The kit can give": f"{units.given(most.torque_nm)} at {units.rating(most.pressure_mpa)}"
        if most
        else None,
        "Cover": cover,
    }


def say_force(newtons: float) -> str:
    """A force in both unit systems of the trade."""
    one, other = (shown(newtons, Kind.FORCE, unit, Rounding.NEAREST) for unit in ("kN", "lbf"))
    return f"{one} ({other})"
