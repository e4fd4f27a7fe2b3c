"""How well a torque is known, and the straight line through points."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fleet.bolting.budgets import USUAL_WRENCH_PERCENT, GaugeFacts, torque_uncertainty
from fleet.bolting.charts import pressure_for
from fleet.bolting.figures import Units, percent
from fleet.bolting.gauges import read_accuracy
from fleet.bolting.uncertainty import fit_line, from_expanded, from_readings
from fleet.measures.quantities import Kind, read_measure
from fleet.papers.bench.answers import Answer, Bars, Curve, Grid
from fleet.papers.bench.asked import about
from fleet.papers.bench.gear import find_chart, find_gauge
from fleet.papers.bench.reading import pairs_of_table, signed
from fleet.rules.cautions import FOR_RECORDS, FOR_TIGHTENING
from fleet.rules.sources import SOURCE_OF_BUDGETS

if TYPE_CHECKING:
    from fleet.bolting.budgets import TorqueUncertainty
    from fleet.bolting.uncertainty import Contribution, LineFit
    from fleet.lists.jobs import JointLine
    from fleet.papers.bench.asked import Asked

# From here on the coverage factor no longer moves in its third figure.
_MANY_FREEDOM = 1_000


def budget(asked: Asked) -> Answer:
    """Uncertainty of a torque set as a pressure: every share of it, against the joint's tolerance."""
    joint = asked.text("joint")
    with about("joint"):
        planned = asked.register().joint(joint) if joint is not None else None
    torque_text, tolerance = _wanted(asked, planned)
    chart = find_chart(asked)
    facts_of_gauge = _gauge(asked)
    with about("torque"):
        torque = read_measure(torque_text, Kind.TORQUE)
        read = pressure_for(chart, torque.base, Units(torque=torque.unit))
    others, assumed = _others(asked)
    wrench = asked.number("wrench_accuracy")
    found = torque_uncertainty(
        chart,
        read.pressure_mpa,
        facts_of_gauge,
        USUAL_WRENCH_PERCENT if wrench is None else wrench,
        others,
        tolerance_percent=tolerance,
    )
    assumed += [
        f"The chart is that of {chart.source}"
        + (", one rated point, which tells nothing of its own scatter." if chart.approximate else "."),
        f"The wrench is within ±{USUAL_WRENCH_PERCENT:g} % (common practice, no source): write that of its "
        f"certificate with {asked.called('wrench_accuracy')}."
        if wrench is None
        else f"The wrench is within ±{wrench:g} %, as given.",
        "Limits are taken as rectangular, contributions as independent, and the expansion is to 95 %.",
    ]
    return Answer(
        _budget_values(found, tolerance),
        _budget_facts(found, tolerance, asked.units),
        SOURCE_OF_BUDGETS,
        assumed,
        FOR_TIGHTENING,
        (_shares(found, asked.units),),
        bars=Bars(
            "Share of each contribution",
            [(one.name, found.budget.share_percent(one)) for one in found.budget.contributions],
        ),
    )


def _wanted(asked: Asked, planned: JointLine | None) -> tuple[str, float | None]:
    """The torque and the tolerance; what is typed goes before what is planned."""
    text, tolerance = asked.text("torque"), asked.number("tolerance")
    if planned is None:
        if text is None:
            raise asked.amiss(
                "torque",
                f"Say which torque is set: {asked.called('torque')}, or {asked.called('joint')} for that of "
                "a planned joint.",
            )
        return text, tolerance
    if tolerance is None and planned.tolerance_percent is None:
        raise asked.amiss(
            "tolerance",
            f"No tolerance is planned for {planned.mark}: give it with {asked.called('tolerance')}, in ± %.",
        )
    return text or planned.torque_written, planned.tolerance_percent if tolerance is None else tolerance


def _gauge(asked: Asked) -> GaugeFacts:
    """The gauge as given, else as registered."""
    on_record = find_gauge(asked)
    accuracy = asked.text("class")
    with about("class"):
        read = read_accuracy(accuracy) if accuracy else on_record and on_record.accuracy
    range_mpa = (
        asked.measure("range", "pressure")
        if asked.text("range")
        else on_record and on_record.part.gauge_range_mpa
    )
    step_mpa = (
        asked.measure("graduation", "pressure")
        if asked.text("graduation")
        else on_record and on_record.graduation_mpa
    )
    if not (read and range_mpa and step_mpa):
        missing = [
            name
            for name, value in (("class", read), ("range", range_mpa), ("graduation", step_mpa))
            if not value
        ]
        called = ", ".join(asked.called(name) for name in missing)
        raise asked.amiss(
            missing[0],
            f"The gauge is not known well enough: give {called}, or its {asked.called('gauge')} tag.",
        )
    return GaugeFacts(read, range_mpa, step_mpa)


def _others(asked: Asked) -> tuple[tuple[Contribution, ...], list[str]]:
    others: list[Contribution] = []
    left_out = []
    if asked.text("reference"):
        others.append(from_expanded("reference", asked.measure("reference", "torque")))
    else:
        left_out.append("the reference")
    readings = asked.several("reading")
    if readings:
        with about("reading"):
            torques = [read_measure(one, Kind.TORQUE).base for one in readings]
            others.append(from_readings("repeatability", torques))
    else:
        left_out.append("repeatability")
    said = f"Not counted apart from the wrench's accuracy: {' and '.join(left_out)}." if left_out else None
    return tuple(others), [said] if said else []


def _budget_values(found: TorqueUncertainty, tolerance: float | None) -> dict[str, object]:
    whole = found.budget
    return {
        "torque_nm": found.torque_nm,
        "pressure_mpa": found.pressure_mpa,
        "contributions": [
            {
                "name": one.name,
                "standard_nm": one.standard,
                "degrees_of_freedom": _finite(one.degrees_of_freedom),
                "share_percent": whole.share_percent(one),
            }
            for one in whole.contributions
        ],
        "combined_nm": whole.combined,
        "effective_degrees_of_freedom": _finite(whole.degrees_of_freedom),
        "coverage_factor": whole.coverage_factor,
        "confidence": whole.confidence,
        "expanded_nm": whole.expanded,
        "expanded_percent": found.expanded_percent,
        "tolerance_percent": tolerance,
        "within_tolerance": found.within_tolerance,
    }


def _finite(freedom: float) -> float | None:
    """JSON has no infinity; null stands for as many as one likes."""
    return None if math.isinf(freedom) else freedom


def _budget_facts(found: TorqueUncertainty, tolerance: float | None, units: Units) -> dict[str, object]:
    whole = found.budget
    many = whole.degrees_of_freedom >= _MANY_FREEDOM
    freedom = "very many" if many else f"{whole.degrees_of_freedom:,.0f}"
    held = {True: "WITHIN", False: "OVER", None: ""}[found.within_tolerance]
    return {
        "Torque": units.target(found.torque_nm),
        "Set pressure": units.setting(found.pressure_mpa),
        "Expanded uncertainty": f"± {units.needed(whole.expanded)}, {percent(found.expanded_percent)}",
        "Coverage factor": f"{whole.coverage_factor:.2f} (95 %, {freedom} degrees of freedom)",
        "The joint allows": None if tolerance is None else f"± {tolerance:g} %: the uncertainty is {held} it",
    }


def _shares(found: TorqueUncertainty, units: Units) -> Grid:
    whole = found.budget
    rows = [
        (one.name, units.needed(one.standard), f"{whole.share_percent(one):.0f} %")
        for one in whole.contributions
    ]
    return Grid(("From", "Standard uncertainty", "Share"), rows, "Contributions")


def fit(asked: Asked) -> Answer:
    """A straight line by least squares, with the uncertainty of its figures and of what is read off it."""
    table = asked.points()
    origin = asked.number("origin") or 0.0
    with about("points"):
        xs, ys = pairs_of_table(table)
        line = fit_line(xs, ys, origin)
    at = asked.text("at")
    with about("at"):
        x = signed(at)[0] if at is not None else None
    y, u_y = line.at(x) if x is not None else (None, None)
    values = {
        "intercept": line.intercept,
        "slope": line.slope,
        "u_intercept": line.u_intercept,
        "u_slope": line.u_slope,
        "r": line.correlation,
        "s": line.residual,
        "y": y,
        "u_y": u_y,
    }
    facts = {
        "Intercept": f"{line.intercept:.6g}, u {line.u_intercept:.3g}",
        "Slope": f"{line.slope:.6g}, u {line.u_slope:.3g}",
        "Correlation of the two": f"{line.correlation:.3f}",
        "Scatter about the line": f"{line.residual:.4g}, degrees of freedom: {line.degrees_of_freedom}",
        f"At {at}": None if y is None else f"{y:.6g}, u {u_y:.3g}",
    }
    assumed = [
        f"{len(xs)} points of {table.name}; x is taken as exact, and all y scatter alike and independently.",
        f"y = intercept + slope · (x − {origin:g}); r is the correlation of intercept and slope.",
        "u_y is that of the line, not of a single further point.",
    ]
    return Answer(
        values, facts, "JCGM 100 (GUM), H.3", assumed, FOR_RECORDS, curve=_drawn(line, xs, ys, table.headings)
    )


def _drawn(line: LineFit, xs: list[float], ys: list[float], headings: tuple[str, ...]) -> Curve:
    """The points and the line through them."""
    ends = [(x, line.at(x)[0]) for x in (min(xs), max(xs))]
    points = sorted(zip(xs, ys, strict=True))
    return Curve("Points and line", headings[0], headings[1], (("Points", points), ("Line", ends)))
