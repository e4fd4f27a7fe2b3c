"""What use a joint is planned to make of its wrench and pump: as planned by a person, or from its turn.

A planner's figure goes before a worked-out one. Where something is not on record, nothing is planned,
and the keeper gives the use at the return.
"""

from contextlib import suppress
from dataclasses import dataclass

from fleet.bolting.charts import Chart, pressure_for
from fleet.bolting.figures import known
from fleet.bolting.strokes import plan_strokes, strokes_for_angle, swept_volume_cm3
from fleet.refusals import OffTheChart


@dataclass(frozen=True, slots=True)
class WrenchPlate:
    """What strokes are worked out from: the angle of one, its oil out and back in cm³, and the chart."""

    stroke_degrees: float | None
    advance_cm3: float | None
    return_cm3: float | None
    chart: Chart | None


@dataclass(frozen=True, slots=True)
class Oil:
    """The oil of one stroke out and back, in cm³."""

    advance_cm3: float
    return_cm3: float
    estimated: bool
    """The advance volume is not on record and was taken off the chart."""
    back_as_out: bool
    """The return volume is not on record and was taken for that of the advance stroke, which is more."""


@dataclass(frozen=True, slots=True)
class Turning:
    """A joint as planned: its nuts, how far one is turned, its torque in N·m, and a planner's own figures."""

    bolts: int
    turn_degrees: float | None
    torque_nm: float
    planned_cycles: int | None
    planned_minutes: int | None


@dataclass(frozen=True, slots=True)
class PlannedUse:
    """Cycles and pump minutes; None is not known. ``worked_out`` when no person planned the cycles."""

    cycles: int | None
    minutes: int | None
    worked_out: bool = False


def oil_of(wrench: WrenchPlate, torque_nm: float | None = None) -> Oil | None:
    """Give the oil of a stroke: as on record, else off the chart at a torque on it, else at its top."""
    advance = wrench.advance_cm3
    if advance is None:
        if wrench.chart is None or not known(wrench.stroke_degrees):
            return None
        top = wrench.chart.top
        torque, pressure = top.torque_nm, top.pressure_mpa
        if torque_nm is not None:
            with suppress(OffTheChart):
                torque, pressure = torque_nm, pressure_for(wrench.chart, torque_nm).pressure_mpa
        advance = swept_volume_cm3(torque, pressure, wrench.stroke_degrees)
    back = advance if wrench.return_cm3 is None else wrench.return_cm3
    return Oil(advance, back, wrench.advance_cm3 is None, wrench.return_cm3 is None)


def plan_use(joint: Turning, wrench: WrenchPlate | None, flow_l_min: float | None) -> PlannedUse:
    """Give the cycles of a joint's wrench and the minutes of its pump; whole minutes, rounded up."""
    if joint.planned_cycles is not None or not known(joint.turn_degrees):
        return PlannedUse(joint.planned_cycles, joint.planned_minutes)
    if wrench is None or not known(wrench.stroke_degrees):
        return PlannedUse(None, joint.planned_minutes)
    per_nut = strokes_for_angle(joint.turn_degrees, wrench.stroke_degrees)
    minutes, oil = joint.planned_minutes, oil_of(wrench, joint.torque_nm)
    if minutes is None and oil is not None and known(flow_l_min):
        plan = plan_strokes(joint.bolts, per_nut, oil.advance_cm3, oil.return_cm3, flow_l_min)
        minutes = plan.minutes
    return PlannedUse(joint.bolts * per_nut, minutes, worked_out=True)
