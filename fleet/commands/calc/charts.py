"""Charts read both ways, passes, and strokes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.calc.answers import Answer, Grid, give, pressure, torque
from fleet.commands.calc.gear import find_chart
from fleet.commands.calc.reading import (
    Graduation,
    Item,
    Model,
    Points,
    Torque,
    measure,
    numbers,
    only_one,
    units_of,
)
from fleet.commands.printing import Json
from fleet.refusals import OffTheChart, Unreadable

if TYPE_CHECKING:
    from fleet.bolting.charts import Chart, ChartPoint, Reading

SOURCE = "Straight lines between charted points (the output of a hydraulic wrench is linear in pressure)"


def register(calc: typer.Typer) -> None:
    """Put the commands of this module on the group."""
    for command in (chart, passes, strokes):
        calc.command()(command)


def _about(chart: Chart) -> list[str]:
    ends = f"{pressure(chart.bottom.pressure_mpa)} to {pressure(chart.top.pressure_mpa)}"
    said = [f"The chart is that of {chart.source}; it runs from {ends}, and outside it nothing is answered."]
    if chart.approximate:
        said.append("The chart is one rated point, read in proportion: every reading is approximate.")
    return said


def _point(point: ChartPoint | None) -> dict[str, float] | None:
    return None if point is None else {"pressure_mpa": point.pressure_mpa, "torque_nm": point.torque_nm}


def _on_gauge(chart: Chart, reading: Reading, graduation: str | None) -> Reading | None:
    """The nearest pressure the gauge can show, and the torque that it really gives."""
    from fleet.bolting.charts import torque_at
    from fleet.bolting.gauges import round_to_gauge

    if graduation is None:
        return None
    step = measure(graduation, "pressure")
    if step <= 0:
        raise Unreadable("A graduation is above zero, such as 20 bar.")
    return torque_at(chart, round_to_gauge(reading.pressure_mpa, step, chart.top.pressure_mpa))


def chart(
    context: typer.Context,
    points: Points = None,
    model: Model = None,
    item: Item = None,
    torque_given: Torque = None,
    pressure_given: Annotated[str | None, typer.Option("--pressure", "-p", help='"420 bar".')] = None,
    graduation: Graduation = None,
    *,
    as_json: Json = False,
) -> None:
    """Pressure for a torque, or torque at a pressure, from a pressure-torque chart."""
    from fleet.bolting.charts import pressure_for, torque_at
    from fleet.rules.cautions import FOR_TIGHTENING

    asked = only_one("what is known", torque=torque_given, pressure=pressure_given)
    found = find_chart(context, points, model, item)
    text = torque_given or pressure_given or ""
    read = pressure_for if asked == "torque" else torque_at
    reading = read(found, measure(text, asked), units_of(text, asked))
    shown = _on_gauge(found, reading, graduation)
    values = {
        "pressure_mpa": reading.pressure_mpa,
        "torque_nm": reading.torque_nm,
        "below": _point(reading.below),
        "above": _point(reading.above),
        "approximate": reading.approximate,
        "chart": found.source,
        "gauge_setting": shown and {"pressure_mpa": shown.pressure_mpa, "torque_nm": shown.torque_nm},
    }
    facts = {
        "Pressure": pressure(reading.pressure_mpa),
        "Torque": torque(reading.torque_nm),
        "Set on the gauge": shown and f"{pressure(shown.pressure_mpa)}, giving {torque(shown.torque_nm)}",
        "Point below": reading.below and _shown(reading.below),
        "Point above": reading.above and _shown(reading.above),
        "Approximate": "yes, one rated point" if reading.approximate else None,
    }
    give(Answer(values, facts, SOURCE, _about(found), FOR_TIGHTENING), as_json=as_json)


def _shown(point: ChartPoint) -> str:
    return f"{torque(point.torque_nm)} at {pressure(point.pressure_mpa)}"


def passes(
    context: typer.Context,
    bolts: Annotated[int, typer.Option("--bolts", "-n", help="Bolts of the flange, 3 to 200.")],
    torque_given: Annotated[str, typer.Option("--torque", "-t", help="Target torque.")],
    percents: Annotated[str, typer.Option("--percents", help="Rising to 100.")] = "30,60,100",
    points: Points = None,
    model: Model = None,
    item: Item = None,
    graduation: Graduation = None,
    *,
    as_json: Json = False,
) -> None:
    """Order, torque and set pressure of each pass, and the round at the end."""
    from fleet.bolting.passes import plan_passes
    from fleet.rules.cautions import FOR_TIGHTENING

    charted = any(one is not None for one in (points, model, item))
    found = find_chart(context, points, model, item) if charted else None
    plan = plan_passes(found, measure(torque_given, "torque"), bolts, numbers(percents, "percentages"))
    settings = [_setting(found, one.reading, graduation) if found and one.reading else None for one in plan]
    values = {
        "passes": [
            {
                "number": one.number,
                "percent": one.percent,
                "torque_nm": one.torque_nm,
                "pressure_mpa": one.reading and one.reading.pressure_mpa,
                "gauge_pressure_mpa": setting and setting.pressure_mpa,
                "gauge_torque_nm": setting and setting.torque_nm,
                "order": list(one.order),
                "circular": one.circular,
                "below_chart": one.below_chart,
                "note": one.note,
            }
            for one, setting in zip(plan, settings, strict=True)
        ]
    }
    rows = [
        (
            one.number,
            f"{one.percent:g} %",
            torque(one.torque_nm),
            one.reading and pressure(one.reading.pressure_mpa),
            setting and f"{pressure(setting.pressure_mpa)} gives {torque(setting.torque_nm)}",
            "round, bolt to bolt" if one.circular else "cross",
            one.note,
        )
        for one, setting in zip(plan, settings, strict=True)
    ]
    columns = ("Pass", "Share", "Torque", "Set pressure", "On the gauge", "Order", "Note")
    facts = {"Cross pattern": "-".join(str(bolt) for bolt in plan[0].order)}
    assumed = ["Bolts are numbered round the flange. The percentages are yours; 30, 60, 100 are usual."]
    assumed += _about(found) if found else ["No chart was named, so there are no set pressures."]
    source = "ASME PCC-1, cross pattern and passes (from memory); chart between its points by straight lines"
    answer = Answer(values, facts, source, assumed, FOR_TIGHTENING, (Grid(columns, rows, "Passes"),))
    give(answer, as_json=as_json)


def _setting(found: Chart, reading: Reading, graduation: str | None) -> Reading | None:
    try:
        return _on_gauge(found, reading, graduation)
    except OffTheChart:  # The gauge shows no pressure of the chart near this pass.
        return None


def strokes(
    context: typer.Context,
    *,
    bolts: Annotated[int, typer.Option("--bolts", "-n", help="How many nuts.")],
    turn_degrees: Annotated[float, typer.Option("--turn-degrees", help="What one nut is turned in a pass.")],
    turn_per_stroke: Annotated[float, typer.Option("--turn-per-stroke", help="Degrees of one stroke.")],
    flow: Annotated[float, typer.Option("--flow", help="Pump flow at working pressure, L/min.")],
    stroke_volume: Annotated[
        float | None, typer.Option("--stroke-volume", help="Oil of one advance stroke, cm³.")
    ] = None,
    return_volume: Annotated[
        float | None, typer.Option("--return-volume", help="Oil of one return stroke, cm³.")
    ] = None,
    pass_count: Annotated[int, typer.Option("--passes", help="How many passes.")] = 1,
    points: Points = None,
    model: Model = None,
    item: Item = None,
    as_json: Json = False,
) -> None:
    """Strokes and pumping time per nut and for a job. Without a stroke volume, it is taken off a chart."""
    from fleet.bolting.strokes import plan_strokes, strokes_for_angle, swept_volume_cm3
    from fleet.rules.cautions import FOR_RECORDS

    per_nut = strokes_for_angle(turn_degrees, turn_per_stroke)
    if stroke_volume is None:
        top = find_chart(context, points, model, item).top
        advance = swept_volume_cm3(top.torque_nm, top.pressure_mpa, turn_per_stroke)
        assumed = [f"A stroke takes {advance:.4g} cm³: the chart's {_shown(top)} over {turn_per_stroke:g}°."]
    else:
        advance, assumed = stroke_volume, [f"A stroke takes {stroke_volume:g} cm³, as given."]
    back = advance if return_volume is None else return_volume
    if return_volume is None:
        assumed.append("The return stroke takes as much oil as the advance stroke; it is really less.")
    assumed.append(f"The pump gives {flow:g} L/min throughout; moving from nut to nut is not counted.")
    plan = plan_strokes(bolts, per_nut, advance, back, flow, pass_count)
    values = {
        "strokes_per_nut": plan.per_nut,
        "seconds_per_nut": plan.seconds_per_nut,
        "cycles": plan.cycles,
        "seconds_total": plan.seconds,
        "stroke_volume_cm3": advance,
        "return_volume_cm3": back,
    }
    facts = {
        "Strokes per nut": plan.per_nut,
        "Pumping time per nut": f"{plan.seconds_per_nut:,.0f} s",
        "Cycles for the job": f"{plan.cycles:,}",
        "Pumping time for the job": f"{plan.seconds / 60:,.1f} min",
    }
    source = "Continuity: time = oil / flow; energy: V = T·θ/p"
    give(Answer(values, facts, source, assumed, FOR_RECORDS), as_json=as_json)
