"""Charts read both ways, and passes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.bolting.charts import pressure_for, torque_at
from fleet.bolting.figures import exceeds, off
from fleet.bolting.gauges import set_by_gauge
from fleet.bolting.passes import plan_passes
from fleet.measures.quantities import Kind, convert
from fleet.papers.bench.answers import Answer, Curve, Grid
from fleet.papers.bench.asked import about
from fleet.papers.bench.gear import find_chart, find_dial
from fleet.papers.bench.reading import numbers
from fleet.refusals import OffTheChart, Unreadable
from fleet.rules.cautions import FOR_TIGHTENING
from fleet.rules.sources import SOURCE_OF_PASSES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.bolting.charts import Chart, ChartPoint, Reading
    from fleet.bolting.figures import Units
    from fleet.bolting.passes import Pass
    from fleet.papers.bench.asked import Asked
    from fleet.papers.bench.gear import Dial

_COLUMNS = ("Pass", "Share", "Torque", "Set pressure", "On the gauge", "Giving", "Order")

SOURCE = "Straight lines between charted points (the output of a hydraulic wrench is linear in pressure)"


def _about(asked: Asked, chart: Chart, dial: Dial | None) -> list[str]:
    units = asked.units
    ends = f"{units.setting(chart.bottom.pressure_mpa)} to {units.rating(chart.top.pressure_mpa)}"
    said = [f"The chart is that of {chart.source}; it runs from {ends}, and outside it nothing is answered."]
    if chart.approximate:
        said.append("The chart is one rated point, read in proportion: every reading is approximate.")
    if dial is None:
        said.append(
            "No gauge is named, so nothing is rounded to what one can show: "
            f"{asked.called('gauge')} or {asked.called('graduation')}."
        )
    else:
        said.append(f"The gauge can show every {units.reading(dial.step_mpa)}.")
    return said


def _point(point: ChartPoint | Reading | None) -> dict[str, float] | None:
    return None if point is None else {"pressure_mpa": point.pressure_mpa, "torque_nm": point.torque_nm}


def _on_gauge(chart: Chart, asked_mpa: float, dial: Dial | None, units: Units) -> Reading | None:
    """The nearest pressure the gauge can show, and the torque that it really gives."""
    if dial is None:
        return None
    end_mpa = chart.top.pressure_mpa if dial.end_mpa is None else dial.end_mpa
    if exceeds(asked_mpa, end_mpa):
        raise OffTheChart(
            f"{units.setting(asked_mpa)} cannot be read on a gauge that ends at {units.rating(end_mpa)}."
        )
    return set_by_gauge(chart, asked_mpa, dial.step_mpa, min(chart.top.pressure_mpa, end_mpa))


def chart(asked: Asked) -> Answer:
    """Pressure for a torque, or torque at a pressure, from a pressure-torque chart."""
    way = asked.only_one("what is known", "torque", "pressure")
    found = find_chart(asked)
    dial = find_dial(asked)
    upward = way == "torque"
    read = pressure_for if upward else torque_at
    known = asked.measure(way, way)
    units = asked.units
    with about(way):
        reading = read(found, known, asked.units_of(way, way))
        shown = _on_gauge(found, reading.pressure_mpa, dial, units)
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
    gives = shown and f"{units.reading(shown.pressure_mpa)}, giving {units.target(shown.torque_nm)}"
    mpa, nm = reading.pressure_mpa, reading.torque_nm
    facts = {
        "Pressure": units.setting(mpa) if upward else units.reading(mpa),
        "Torque": units.target(nm) if upward else units.given(nm),
        "Set on the gauge": shown and f"{gives}, {off(shown.torque_nm, nm)}",
        "Charted point": _shown(reading.below, units) if reading.below and hit else None,
        "Point below": None if hit else reading.below and _shown(reading.below, units),
        "Point above": None if hit else reading.above and _shown(reading.above, units),
        "Approximate": "yes, one rated point" if reading.approximate else None,
    }
    curve = _curve(found, "Read here", [(mpa, nm)], units)
    return Answer(values, facts, SOURCE, _about(asked, found, dial), FOR_TIGHTENING, curve=curve)


def _shown(point: ChartPoint, units: Units) -> str:
    return f"{units.target(point.torque_nm)} at {units.reading(point.pressure_mpa)}"


def _curve(found: Chart, name: str, marked: Sequence[tuple[float, float]], units: Units) -> Curve:
    """The chart as it is read, and the points that were read off it."""
    charted = [(one.pressure_mpa, one.torque_nm) for one in found.points]
    if found.approximate:
        charted = [(found.bottom.pressure_mpa, found.bottom.torque_nm), *charted]

    def drawn(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
        return [
            (convert(mpa, Kind.PRESSURE, units.pressure), convert(nm, Kind.TORQUE, units.torque))
            for mpa, nm in points
        ]

    return Curve(
        "Pressure-torque chart",
        f"Pressure, {units.pressure}",
        f"Torque, {units.torque}",
        (("Chart", drawn(charted)), (name, drawn(marked))),
    )


def passes(asked: Asked) -> Answer:
    """Order, torque and set pressure of each pass, and the round at the end."""
    charted = any(asked.given(name) for name in ("points", "model", "item"))
    if not charted and (asked.text("gauge") or asked.text("graduation")):
        item, model, points = (asked.called(name) for name in ("item", "model", "points"))
        raise Unreadable(f"A gauge is set by a chart: name the wrench with {item}, {model} or {points} too.")
    found = find_chart(asked) if charted else None
    dial = find_dial(asked)
    torque_nm, bolts = asked.measure("torque", "torque"), asked.need_count("bolts")
    with about("percents"):
        shares = numbers(
            "30,60,100" if asked.text("percents") is None else asked.need("percents"), "percentages"
        )
    plan = plan_passes(found, torque_nm, bolts, shares, asked.units_of("torque", "torque"))
    units = asked.units
    settings = [_setting(found, one.reading, dial, units) if found and one.reading else None for one in plan]
    both = list(zip(plan, settings, strict=True))
    values = {"passes": [_pass(one, setting) for one, setting in both]}
    rows = [_row(one, setting, units) for one, setting in both]
    facts = {"Cross pattern": "-".join(str(bolt) for bolt in plan[0].order)}
    facts |= {f"Pass {one.number}": one.note for one in plan}
    assumed = ["Bolts are numbered round the flange. The percentages are yours; 30, 60, 100 are usual."]
    assumed += _about(asked, found, dial) if found else ["No chart was named, so there are no set pressures."]
    marked = [(one.reading.pressure_mpa, one.torque_nm) for one in plan[:-1] if one.reading]
    curve = _curve(found, "Passes", marked, units) if found and marked else None
    grid = _without_empty(_COLUMNS, rows)
    return Answer(values, facts, SOURCE_OF_PASSES, assumed, FOR_TIGHTENING, (grid,), curve=curve)


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


def _row(one: Pass, setting: Reading | None, units: Units) -> tuple[object, ...]:
    set_pressure = "below the chart" if one.below_chart else ""
    return (
        str(one.number),
        f"{one.percent:g} %",
        units.target(one.torque_nm),
        units.setting(one.reading.pressure_mpa) if one.reading else set_pressure,
        setting and units.reading(setting.pressure_mpa),
        setting and f"{units.target(setting.torque_nm)} {off(setting.torque_nm, one.torque_nm)}",
        "round" if one.circular else "cross",
    )


def _without_empty(columns: Sequence[str], rows: Sequence[Sequence[object]]) -> Grid:
    """The passes without the columns in which nothing stands, where there is no chart or no gauge."""
    kept = [at for at in range(len(columns)) if any(row[at] for row in rows)]
    return Grid([columns[at] for at in kept], [[row[at] for at in kept] for row in rows], "Passes")


def _setting(found: Chart, reading: Reading, dial: Dial | None, units: Units) -> Reading | None:
    """What the gauge can be set to for a pass; nothing where it shows no pressure of the chart near it."""
    try:
        return _on_gauge(found, reading.pressure_mpa, dial, units)
    except OffTheChart:
        if dial and dial.end_mpa is not None and exceeds(reading.pressure_mpa, dial.end_mpa):
            raise
        return None
