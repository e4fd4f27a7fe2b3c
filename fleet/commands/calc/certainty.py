"""How well a torque is known, and the straight line through points."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.calc.answers import Answer, Grid, give, pressure, torque
from fleet.commands.calc.gear import find_chart, find_gauge, find_joint_on_plan
from fleet.commands.calc.reading import (
    GaugeTag,
    Graduation,
    Item,
    Model,
    Points,
    measure,
    pairs_of_file,
    units_of,
)
from fleet.commands.printing import Json
from fleet.refusals import Unreadable
from fleet.rules.sources import SOURCE_OF_BUDGETS

if TYPE_CHECKING:
    from fleet.bolting.budgets import GaugeFacts, TorqueUncertainty
    from fleet.bolting.uncertainty import Contribution
    from fleet.lists.jobs import JointLine
    from fleet.lists.parts import Piece

# From here on the coverage factor no longer moves in its third figure.
_MANY_FREEDOM = 1_000


def register(calc: typer.Typer) -> None:
    """Put the commands of this module on the group."""
    for command in (budget, fit):
        calc.command()(command)


def budget(
    context: typer.Context,
    *,
    torque_given: Annotated[
        str | None, typer.Option("--torque", "-t", help="The torque to be set; a planned joint has its own.")
    ] = None,
    joint: Annotated[
        str | None, typer.Option("--joint", help="A planned joint, for its torque and tolerance: JOB/MARK.")
    ] = None,
    item: Item = None,
    model: Model = None,
    points: Points = None,
    gauge: GaugeTag = None,
    accuracy: Annotated[str | None, typer.Option("--class", "-c", help="1.6, 2A, B.")] = None,
    range_given: Annotated[str | None, typer.Option("--range", help='"1000 bar".')] = None,
    graduation: Graduation = None,
    wrench: Annotated[
        float | None, typer.Option("--wrench-accuracy", help="± % on the wrench's certificate.")
    ] = None,
    reference: Annotated[
        str | None,
        typer.Option("--reference", help="Expanded uncertainty (k = 2) of the reference, a torque."),
    ] = None,
    readings: Annotated[
        list[str] | None,
        typer.Option("--reading", help="Repeated readings of one torque; give it each time."),
    ] = None,
    tolerance: Annotated[
        float | None, typer.Option("--tolerance", help="What the joint allows, ± %.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Uncertainty of a torque set as a pressure: every share of it, against the joint's tolerance."""
    from fleet.bolting.budgets import USUAL_WRENCH_PERCENT, torque_uncertainty
    from fleet.bolting.charts import pressure_for
    from fleet.rules.cautions import FOR_TIGHTENING

    planned = find_joint_on_plan(context, joint) if joint is not None else None
    torque_text, tolerance = _wanted(torque_given, tolerance, planned)
    chart = find_chart(context, points, model, item)
    facts_of_gauge = _gauge(find_gauge(context, gauge) if gauge else None, accuracy, range_given, graduation)
    asked = pressure_for(chart, measure(torque_text, "torque"), units_of(torque_text, "torque"))
    others, assumed = _others(reference, readings or [])
    found = torque_uncertainty(
        chart,
        asked.pressure_mpa,
        facts_of_gauge,
        USUAL_WRENCH_PERCENT if wrench is None else wrench,
        others,
        tolerance_percent=tolerance,
    )
    assumed += [
        f"The chart is that of {chart.source}"
        + (", one rated point, which tells nothing of its own scatter." if chart.approximate else "."),
        f"The wrench is within ±{USUAL_WRENCH_PERCENT:g} % (common practice, no source): write that of its "
        "certificate with --wrench-accuracy."
        if wrench is None
        else f"The wrench is within ±{wrench:g} %, as given.",
        "Limits are taken as rectangular, contributions as independent, and the expansion is to 95 %.",
    ]
    answer = Answer(
        _budget_values(found, tolerance),
        _budget_facts(found, tolerance),
        SOURCE_OF_BUDGETS,
        assumed,
        FOR_TIGHTENING,
        (_shares(found),),
    )
    give(answer, as_json=as_json)


def _wanted(text: str | None, tolerance: float | None, planned: JointLine | None) -> tuple[str, float | None]:
    """The torque and the tolerance; what is typed goes before what is planned."""
    if planned is None:
        if text is None:
            raise Unreadable("Say which torque is set: --torque, or --joint for that of a planned joint.")
        return text, tolerance
    if tolerance is None and planned.tolerance_percent is None:
        raise Unreadable(f"No tolerance is planned for {planned.mark}: give it with --tolerance, in ± %.")
    return text or planned.torque_written, planned.tolerance_percent if tolerance is None else tolerance


def _gauge(
    on_record: Piece | None, accuracy: str | None, range_given: str | None, graduation: str | None
) -> GaugeFacts:
    """The gauge as given, else as registered."""
    from fleet.bolting.budgets import GaugeFacts
    from fleet.bolting.gauges import read_accuracy

    read = read_accuracy(accuracy) if accuracy else on_record and on_record.accuracy
    range_mpa = (
        measure(range_given, "pressure") if range_given else on_record and on_record.part.gauge_range_mpa
    )
    step_mpa = measure(graduation, "pressure") if graduation else on_record and on_record.graduation_mpa
    if not (read and range_mpa and step_mpa):
        missing = [
            name
            for name, value in (("--class", read), ("--range", range_mpa), ("--graduation", step_mpa))
            if not value
        ]
        raise Unreadable(
            f"The gauge is not known well enough: give {', '.join(missing)}, or its --gauge tag."
        )
    return GaugeFacts(read, range_mpa, step_mpa)


def _others(reference: str | None, readings: list[str]) -> tuple[tuple[Contribution, ...], list[str]]:
    from fleet.bolting.uncertainty import from_expanded, from_readings

    others: list[Contribution] = []
    left_out = []
    if reference:
        others.append(from_expanded("reference", measure(reference, "torque")))
    else:
        left_out.append("the reference")
    if readings:
        others.append(from_readings("repeatability", [measure(one, "torque") for one in readings]))
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


def _budget_facts(found: TorqueUncertainty, tolerance: float | None) -> dict[str, object]:
    from fleet.bolting.figures import percent

    whole = found.budget
    many = whole.degrees_of_freedom >= _MANY_FREEDOM
    freedom = "very many" if many else f"{whole.degrees_of_freedom:,.0f}"
    held = {True: "WITHIN", False: "OVER", None: ""}[found.within_tolerance]
    return {
        "Torque": torque(found.torque_nm),
        "Set pressure": pressure(found.pressure_mpa, "UP"),
        "Expanded uncertainty": f"± {torque(whole.expanded, 'UP')}, {percent(found.expanded_percent)}",
        "Coverage factor": f"{whole.coverage_factor:.2f} (95 %, {freedom} degrees of freedom)",
        "The joint allows": None if tolerance is None else f"± {tolerance:g} %: the uncertainty is {held} it",
    }


def _shares(found: TorqueUncertainty) -> Grid:
    whole = found.budget
    rows = [
        (one.name, torque(one.standard, "UP"), f"{whole.share_percent(one):.0f} %")
        for one in whole.contributions
    ]
    return Grid(("From", "Standard uncertainty", "Share"), rows, "Contributions")


def fit(
    points: Annotated[
        Path, typer.Option("--points", help="CSV or XLSX: x in the first column, y in the next.")
    ],
    at: Annotated[str | None, typer.Option("--at", help="Where the line is read.")] = None,
    origin: Annotated[float, typer.Option("--origin", help="Where the intercept stands.")] = 0.0,
    *,
    as_json: Json = False,
) -> None:
    """A straight line by least squares, with the uncertainty of its figures and of what is read off it."""
    from fleet.bolting.uncertainty import fit_line
    from fleet.commands.calc.reading import signed
    from fleet.rules.cautions import FOR_RECORDS

    xs, ys, name = pairs_of_file(points)
    line = fit_line(xs, ys, origin)
    y, u_y = line.at(signed(at)[0]) if at is not None else (None, None)
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
        f"{len(xs)} points of {name}; x is taken as exact, and all y scatter alike and independently.",
        f"y = intercept + slope · (x − {origin:g}); r is the correlation of intercept and slope.",
        "u_y is that of the line, not of a single further point.",
    ]
    give(Answer(values, facts, "JCGM 100 (GUM), H.3", assumed, FOR_RECORDS), as_json=as_json)
