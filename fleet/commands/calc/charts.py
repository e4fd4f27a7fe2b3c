"""Charts read both ways, and passes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.calc.answers import Answer, Grid, give, pressure, torque
from fleet.commands.calc.gear import find_chart, find_dial
from fleet.commands.calc.reading import (
    GaugeTag,
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
from fleet.rules.sources import SOURCE_OF_PASSES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.bolting.charts import Chart, ChartPoint, Reading
    from fleet.bolting.passes import Pass
    from fleet.commands.calc.gear import Dial

_COLUMNS = ("Pass", "Share", "Torque", "Set pressure", "On the gauge", "Giving", "Order")

SOURCE = "Straight lines between charted points (the output of a hydraulic wrench is linear in pressure)"


def register(calc: typer.Typer) -> None:
    """Put the commands of this module on the group."""
    for command in (chart, passes):
        calc.command()(command)


def _about(chart: Chart, dial: Dial | None) -> list[str]:
    ends = f"{pressure(chart.bottom.pressure_mpa, 'UP')} to {pressure(chart.top.pressure_mpa, 'DOWN')}"
    said = [f"The chart is that of {chart.source}; it runs from {ends}, and outside it nothing is answered."]
    if chart.approximate:
        said.append("The chart is one rated point, read in proportion: every reading is approximate.")
    if dial is None:
        said.append("No gauge is named, so nothing is rounded to what one can show: --gauge or --graduation.")
    else:
        said.append(f"The gauge can show every {pressure(dial.step_mpa)}.")
    return said


def _point(point: ChartPoint | Reading | None) -> dict[str, float] | None:
    return None if point is None else {"pressure_mpa": point.pressure_mpa, "torque_nm": point.torque_nm}


def _on_gauge(chart: Chart, asked_mpa: float, dial: Dial | None) -> Reading | None:
    """The nearest pressure the gauge can show, and the torque that it really gives."""
    from fleet.bolting.figures import exceeds
    from fleet.bolting.gauges import set_by_gauge

    if dial is None:
        return None
    end_mpa = chart.top.pressure_mpa if dial.end_mpa is None else dial.end_mpa
    if exceeds(asked_mpa, end_mpa):
        raise OffTheChart(
            f"{pressure(asked_mpa, 'UP')} cannot be read on a gauge that ends at {pressure(end_mpa, 'DOWN')}."
        )
    return set_by_gauge(chart, asked_mpa, dial.step_mpa, min(chart.top.pressure_mpa, end_mpa))


def chart(
    context: typer.Context,
    points: Points = None,
    model: Model = None,
    item: Item = None,
    torque_given: Torque = None,
    pressure_given: Annotated[str | None, typer.Option("--pressure", "-p", help='"420 bar".')] = None,
    gauge: GaugeTag = None,
    graduation: Graduation = None,
    *,
    as_json: Json = False,
) -> None:
    """Pressure for a torque, or torque at a pressure, from a pressure-torque chart."""
    from fleet.bolting.charts import pressure_for, torque_at
    from fleet.bolting.figures import off
    from fleet.rules.cautions import FOR_TIGHTENING

    asked = only_one("what is known", torque=torque_given, pressure=pressure_given)
    found = find_chart(context, points, model, item)
    dial = find_dial(context, gauge, graduation)
    text = torque_given or pressure_given or ""
    read, upward = (pressure_for, True) if asked == "torque" else (torque_at, False)
    reading = read(found, measure(text, asked), units_of(text, asked))
    shown = _on_gauge(found, reading.pressure_mpa, dial)
    values = {
        "pressure_mpa": reading.pressure_mpa,
        "torque_nm": reading.torque_nm,
        "below": _point(reading.below),
        "above": _point(reading.above),
        "approximate": reading.approximate,
        "chart": found.source,
        "gauge_setting": _point(shown),
    }
    hit = reading.below == reading.above
    gives = shown and f"{pressure(shown.pressure_mpa)}, giving {torque(shown.torque_nm)}"
    facts = {
        "Pressure": pressure(reading.pressure_mpa, "UP" if upward else "NEAREST"),
        "Torque": torque(reading.torque_nm, "NEAREST" if upward else "DOWN"),
        "Set on the gauge": shown and f"{gives}, {off(shown.torque_nm, reading.torque_nm)}",
        "Charted point": reading.below and hit and _shown(reading.below),
        "Point below": None if hit else reading.below and _shown(reading.below),
        "Point above": None if hit else reading.above and _shown(reading.above),
        "Approximate": "yes, one rated point" if reading.approximate else None,
    }
    give(Answer(values, facts, SOURCE, _about(found, dial), FOR_TIGHTENING), as_json=as_json)


def _shown(point: ChartPoint) -> str:
    return f"{torque(point.torque_nm)} at {pressure(point.pressure_mpa)}"


def passes(
    context: typer.Context,
    *,
    bolts: Annotated[int, typer.Option("--bolts", "-n", help="Bolts of the flange, 3 to 200.")],
    torque_given: Annotated[str, typer.Option("--torque", "-t", help="Target torque.")],
    percents: Annotated[str, typer.Option("--percents", help="Rising to 100.")] = "30,60,100",
    points: Points = None,
    model: Model = None,
    item: Item = None,
    gauge: GaugeTag = None,
    graduation: Graduation = None,
    as_json: Json = False,
) -> None:
    """Order, torque and set pressure of each pass, and the round at the end."""
    from fleet.bolting.passes import plan_passes
    from fleet.rules.cautions import FOR_TIGHTENING

    charted = any(one is not None for one in (points, model, item))
    if not charted and (gauge or graduation):
        raise Unreadable("A gauge is set by a chart: name the wrench with --item, --model or --points too.")
    found = find_chart(context, points, model, item) if charted else None
    dial = find_dial(context, gauge, graduation)
    plan = plan_passes(
        found,
        measure(torque_given, "torque"),
        bolts,
        numbers(percents, "percentages"),
        units_of(torque_given, "torque"),
    )
    settings = [_setting(found, one.reading, dial) if found and one.reading else None for one in plan]
    values = {"passes": [_pass(one, setting) for one, setting in zip(plan, settings, strict=True)]}
    rows = [_row(one, setting) for one, setting in zip(plan, settings, strict=True)]
    facts = {"Cross pattern": "-".join(str(bolt) for bolt in plan[0].order)}
    facts |= {f"Pass {one.number}": one.note for one in plan}
    assumed = ["Bolts are numbered round the flange. The percentages are yours; 30, 60, 100 are usual."]
    assumed += _about(found, dial) if found else ["No chart was named, so there are no set pressures."]
    answer = Answer(
        values, facts, SOURCE_OF_PASSES, assumed, FOR_TIGHTENING, (_without_empty(_COLUMNS, rows),)
    )
    give(answer, as_json=as_json)


def _pass(one: Pass, setting: Reading | None) -> dict[str, object]:
    return {
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


def _row(one: Pass, setting: Reading | None) -> tuple[object, ...]:
    from fleet.bolting.figures import off

    set_pressure = "below the chart" if one.below_chart else ""
    return (
        str(one.number),
        f"{one.percent:g} %",
        torque(one.torque_nm),
        pressure(one.reading.pressure_mpa, "UP") if one.reading else set_pressure,
        setting and pressure(setting.pressure_mpa),
        setting and f"{torque(setting.torque_nm)} {off(setting.torque_nm, one.torque_nm)}",
        "round" if one.circular else "cross",
    )


def _without_empty(columns: Sequence[str], rows: Sequence[Sequence[object]]) -> Grid:
    """The passes without the columns in which nothing stands, where there is no chart or no gauge."""
    kept = [at for at in range(len(columns)) if any(row[at] for row in rows)]
    return Grid([columns[at] for at in kept], [[row[at] for at in kept] for row in rows], "Passes")


def _setting(found: Chart, reading: Reading, dial: Dial | None) -> Reading | None:
    """What the gauge can be set to for a pass; nothing where it shows no pressure of the chart near it."""
    from fleet.bolting.figures import exceeds

    try:
        return _on_gauge(found, reading.pressure_mpa, dial)
    except OffTheChart:
        if dial and dial.end_mpa is not None and exceeds(reading.pressure_mpa, dial.end_mpa):
            raise
        return None
