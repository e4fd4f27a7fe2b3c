"""Strokes and pumping time of a job, from the plates of wrench and pump or from figures of one's own."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from fleet.bolting.charts import pressure_for
from fleet.bolting.strokes import plan_strokes, strokes_for_angle
from fleet.lists.parts import plate_of
from fleet.papers.bench.answers import Answer
from fleet.papers.bench.asked import about
from fleet.papers.bench.gear import find_chart, piece_of_kind
from fleet.refusals import NotFound
from fleet.rules.cautions import FOR_PRESSURE
from fleet.rules.strokes import WrenchPlate, oil_of

if TYPE_CHECKING:
    from fleet.papers.bench.asked import Asked
    from fleet.rules.strokes import Oil

SOURCE = "Continuity: time = oil / flow; energy: V = T·θ/p"


def strokes(asked: Asked) -> Answer:
    """Strokes and pumping time per nut and for a job. What is given goes before what is on record."""
    given = _Given(asked)
    bolts, turn = asked.need_count("bolts"), asked.need_number("turn_degrees")
    passes = asked.count("passes")
    plate = given.over(_plate(asked, charted=not asked.given("stroke_volume")))
    if plate.stroke_degrees is None:
        called = asked.called("turn_per_stroke")
        raise _missing(
            "turn_per_stroke", f"The degrees of one stroke are not on record; give them with {called}."
        )
    per_nut = strokes_for_angle(turn, plate.stroke_degrees)
    torque_nm = asked.measure("torque", "torque") if asked.given("torque") else None
    oil, assumed = _oil(asked, plate, torque_nm, given)
    l_min, said = _flow(asked)
    plan = plan_strokes(
        bolts, per_nut, oil.advance_cm3, oil.return_cm3, l_min, 1 if passes is None else passes
    )
    values = {
        "strokes_per_nut": plan.per_nut,
        "seconds_per_nut": plan.seconds_per_nut,
        "cycles": plan.cycles,
        "seconds_total": plan.seconds,
        "pump_minutes": plan.minutes,
        "degrees_per_stroke": plate.stroke_degrees,
        "stroke_volume_cm3": oil.advance_cm3,
        "stroke_volume_estimated": oil.estimated,
        "return_volume_cm3": oil.return_cm3,
        "flow_l_min": l_min,
    }
    estimated = ", estimated" if oil.estimated else ""
    facts = {
        "One stroke": f"{plate.stroke_degrees:g}°, {oil.advance_cm3:.4g} cm³ out{estimated}",
        "Strokes per nut": plan.per_nut,
        "Pumping time per nut": f"{plan.seconds_per_nut:,.1f} s",
        "Cycles for the job": f"{plan.cycles:,}",
        "Pumping time for the job": f"{plan.seconds / 60:,.1f} min",
    }
    return Answer(values, facts, SOURCE, [*assumed, said], FOR_PRESSURE)


def _missing(name: str, sentence: str) -> NotFound:
    refusal = NotFound(sentence)
    refusal.about = name
    return refusal


class _Given:
    """What was given beside the register."""

    def __init__(self, asked: Asked) -> None:
        self.degrees = asked.number("turn_per_stroke")
        self.advance, self.back = (
            asked.measure(name, "volume", unit="cm³") if asked.given(name) else None
            for name in ("stroke_volume", "return_volume")
        )

    def over(self, plate: WrenchPlate) -> WrenchPlate:
        """The plate with what was given in place of what is on record."""
        return replace(
            plate,
            stroke_degrees=plate.stroke_degrees if self.degrees is None else self.degrees,
            advance_cm3=plate.advance_cm3 if self.advance is None else self.advance,
            # A return volume on record belongs to the advance volume on record.
            return_cm3=self.back if self.back is not None or self.advance is not None else plate.return_cm3,
        )


def _plate(asked: Asked, *, charted: bool) -> WrenchPlate:
    """What the register knows of the wrench or model, or a chart alone."""
    points, model, item = (asked.given(name) for name in ("points", "model", "item"))
    if not charted and not points and not model and not item:
        return WrenchPlate(None, None, None, None)
    if item and not points and not model:
        return plate_of(piece_of_kind(asked, "item", "wrench"))
    if model and not points and not item:
        with about("model"):
            found = asked.register().model(asked.need("model"))
        known = (found.stroke_degrees, found.advance_volume_cm3, found.return_volume_cm3)
        chart = find_chart(asked, "points", "model") if charted and known[1] is None else None
        return WrenchPlate(*known, chart)
    return WrenchPlate(None, None, None, find_chart(asked))


def _oil(asked: Asked, plate: WrenchPlate, torque_nm: float | None, given: _Given) -> tuple[Oil, list[str]]:
    """The oil of a stroke, and where it comes from."""
    if torque_nm is not None and plate.chart is not None and plate.advance_cm3 is None:
        with about("torque"):
            pressure_for(plate.chart, torque_nm)  # Refuses what is off the chart.
    oil = oil_of(plate, torque_nm)
    if oil is None:
        called = asked.called("stroke_volume")
        raise _missing(
            "stroke_volume",
            f"Neither the oil of a stroke nor a chart to estimate it from is on record; give {called}.",
        )
    whence = "as given" if given.advance is not None else "as on record"
    units = asked.units
    if oil.estimated and plate.chart is not None:
        top = plate.chart.top
        at = (
            f"at {units.target(torque_nm)}" if torque_nm else f"at its top, {units.target(top.torque_nm)} at "
        )
        at += "" if torque_nm else units.reading(top.pressure_mpa)
        whence = f"estimated from the chart {at}, over {plate.stroke_degrees:g}°; a stroke really takes more"
    said = [f"A stroke takes {oil.advance_cm3:.4g} cm³ out, {whence}."]
    if oil.back_as_out:
        said.append("The return stroke takes as much oil as the advance stroke; it is really less.")
    return oil, said


def _flow(asked: Asked) -> tuple[float, str]:
    """The pump's flow in L/min, and where it comes from."""
    pump = asked.text("pump")
    if asked.given("flow"):
        l_min, whence = asked.measure("flow", "flow", unit="L/min"), "as given"
    elif pump is None:
        named, given = asked.called("pump"), asked.called("flow")
        raise asked.amiss(
            "flow", f"Name the pump with {named}, or give its flow with {given}, such as 0.9 L/min."
        )
    else:
        piece = piece_of_kind(asked, "pump", "pump")
        if piece.flow_l_min is None:
            raise _missing(
                "flow", f"The flow of pump {pump} is not on record; give it with {asked.called('flow')}."
            )
        l_min, whence = piece.flow_l_min, "as on record"
    return (
        l_min,
        f"The pump gives {l_min:.4g} L/min throughout, {whence}; moving from nut to nut is not counted.",
    )
