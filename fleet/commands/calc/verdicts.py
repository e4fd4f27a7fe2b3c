"""A verdict on a reading, and when to calibrate again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from fleet.commands.calc.answers import Answer, give
from fleet.commands.calc.reading import numbers, pairs_of_file, signed
from fleet.commands.printing import Json
from fleet.refusals import Unreadable

if TYPE_CHECKING:
    from fleet.rules.intervals import IntervalPolicy, Proposal

Given = TypeVar("Given")

METHODS = ("test", "staircase", "control-chart", "in-use")


def register(calc: typer.Typer) -> None:
    """Put the commands of this module on the group."""
    for command in (verdict, interval):
        calc.command()(command)


def verdict(
    reading: Annotated[str, typer.Option("--reading", help="What was measured.")],
    uncertainty: Annotated[
        str | None, typer.Option("--uncertainty", "-U", help="Its expanded uncertainty.")
    ] = None,
    nominal: Annotated[str | None, typer.Option("--nominal", help="What it should be.")] = None,
    lower: Annotated[str | None, typer.Option("--lower", help="Lower tolerance limit.")] = None,
    upper: Annotated[str | None, typer.Option("--upper", help="Upper tolerance limit.")] = None,
    k: Annotated[float, typer.Option("--k", help="Coverage factor of the uncertainty.")] = 2.0,
    guard: Annotated[float, typer.Option("--guard", help="Guard band: 0, 0.83 or 1 times U.")] = 1.0,
    *,
    as_json: Json = False,
) -> None:
    """Pass or fail by a decision rule, with the acceptance limits and the probability of conformance."""
    from fleet.rules.calibrations import Limits, judge_value, rule_for
    from fleet.rules.cautions import FOR_RECORDS

    given = {
        "reading": reading,
        "uncertainty": uncertainty,
        "nominal": nominal,
        "lower": lower,
        "upper": upper,
    }
    figures, unit = _one_unit(given)
    limits = Limits(figures.get("lower"), figures.get("upper"))
    rule = rule_for(guard)
    found = judge_value(figures["reading"], limits, figures.get("uncertainty"), rule, k)
    _refuse_outside(figures)
    values = {
        "verdict": str(found.result),
        "acceptance_lower": found.acceptance.lower,
        "acceptance_upper": found.acceptance.upper,
        "conformance_probability": found.conformance_probability,
    }
    likely = found.conformance_probability
    facts = {
        "Verdict": str(found.result),
        "Accepted from": _figure(found.acceptance.lower, unit),
        "Accepted to": _figure(found.acceptance.upper, unit),
        "Probability of conformance": None if likely is None else f"{100 * likely:.2f} %",
    }
    assumed = [
        f"The decision rule is {rule}, agreed on beforehand; U is taken as stated, with k = {k:g}.",
        "The true value is normally distributed about the reading, and nothing is known of it beforehand.",
    ]
    source = "ILAC-G8:09/2019, 4.2; probability of conformance by JCGM 106:2012"
    give(Answer(values, facts, source, assumed, FOR_RECORDS), as_json=as_json)


def _one_unit(given: dict[str, str | None]) -> tuple[dict[str, float], str]:
    """The figures as numbers, and the one unit that they are all in, or none."""
    read = {name: signed(text) for name, text in given.items() if text is not None}
    units = {unit for _, unit in read.values()}
    if len(units) > 1:
        said = ", ".join(f"--{name} in {unit or 'no unit'}" for name, (_, unit) in read.items())
        raise Unreadable(f"The figures are not in one unit ({said}): write all in the same, or none.")
    return {name: value for name, (value, _) in read.items()}, units.pop()


def _refuse_outside(figures: dict[str, float]) -> None:
    nominal = figures.get("nominal")
    if nominal is None:
        return
    if not figures.get("lower", nominal) <= nominal <= figures.get("upper", nominal):
        raise Unreadable(f"The nominal value {nominal:g} lies outside its own tolerance limits.")


def _figure(value: float | None, unit: str) -> str | None:
    return None if value is None else f"{value:,.6g} {unit}".strip()


def interval(
    *,
    current: Annotated[str, typer.Option("--interval", help="The interval now: 365d or 52w.")],
    method: Annotated[str, typer.Option("--method", help=" | ".join(METHODS))] = "test",
    within: Annotated[int | None, typer.Option("--in-tolerance", help="How many were found good …")] = None,
    count: Annotated[int | None, typer.Option("--of", help="… of how many.")] = None,
    target: Annotated[
        float | None, typer.Option("--target", help="Share that is wanted, as in 0.90.")
    ] = None,
    confidence: Annotated[float, typer.Option("--confidence", help="At which the evidence decides.")] = 0.95,
    shares: Annotated[
        str | None, typer.Option("--shares", help="Staircase: % of tolerance as found, newest last.")
    ] = None,
    points: Annotated[
        Path | None, typer.Option("--points", help="Control chart: days, then error in % of tolerance.")
    ] = None,
    most_use: Annotated[float | None, typer.Option("--most-use", help="In-use: the limit.")] = None,
    used: Annotated[float | None, typer.Option("--used", help="In-use: counted use …")] = None,
    over: Annotated[str | None, typer.Option("--over", help="… over how long: 90d.")] = None,
    lengthen: Annotated[float, typer.Option("--lengthen", help="The room's step up, %.")] = 25.0,
    shorten: Annotated[float, typer.Option("--shorten", help="The room's step down, %.")] = 50.0,
    shortest: Annotated[str, typer.Option("--shortest", help="The room's shortest.")] = "30d",
    longest: Annotated[str, typer.Option("--longest", help="The room's longest.")] = "1095d",
    as_json: Json = False,
) -> None:
    """Propose a calibration interval by a published method, with the evidence. Changes nothing."""
    from fleet.measures.times import read_span
    from fleet.rules import intervals
    from fleet.rules.cautions import FOR_RECORDS

    policy = intervals.IntervalPolicy(
        read_span(shortest), read_span(longest), lengthen, shorten, unit=intervals.Count.DAYS
    )
    now = read_span(current)
    sure: float | None = None
    if method == "test":
        proposal, sure = _test(now, (within, count), target, confidence, policy)
    elif method == "staircase":
        found = [share / 100 for share in numbers(_needed(shares, "--shares", method), "shares")]
        proposal = intervals.staircase(now, found, policy)
    elif method == "control-chart":
        days, errors, _ = pairs_of_file(_needed(points, "--points", method))
        results = [intervals.ChartedResult(day, error / 100) for day, error in zip(days, errors, strict=True)]
        proposal, sure = intervals.control_chart(now, results, policy, confidence), confidence
    elif method == "in-use":
        span = read_span(_needed(over, "--over", method))
        limit, counted = _needed(most_use, "--most-use", method), _needed(used, "--used", method)
        proposal = intervals.in_use_time(now, limit, counted, span, policy, "units of use")
    else:
        raise Unreadable(f"{method!r} is not a method here. Known: {', '.join(METHODS)}.")
    values = {
        "confidence": sure,
        "proposed_days": proposal.interval,
        "method": proposal.method,
        "evidence": proposal.evidence,
    }
    facts = {
        "Proposed": f"{proposal.interval} days",
        "Method": proposal.method,
        "Confidence": None if sure is None else f"{100 * sure:.1f} %",
        "Evidence": proposal.evidence,
    }
    assumed = [
        "The step sizes and bounds are the room's policy; ILAC-G24 gives none.",
        "A proposal changes nothing: a person accepts it, and the use and the risk of the item count too.",
    ]
    source = "ILAC-G24:2022 / OIML D 10:2022; interval test: NCSLI RP-1, method A3 (read in quotation)"
    give(Answer(values, facts, source, assumed, FOR_RECORDS), as_json=as_json)


def _test(
    now: int,
    found: tuple[int | None, int | None],
    target: float | None,
    confidence: float,
    policy: IntervalPolicy,
) -> tuple[Proposal, float]:
    """The interval test, and the confidence with which the true share lies off the target."""
    from fleet.rules import intervals

    within = _needed(found[0], "--in-tolerance", "test")
    count = _needed(found[1], "--of", "test")
    wanted = _needed(target, "--target", "test")
    bounds = intervals.reliability(within, count, confidence)
    sure = intervals.confidence_off_target(within, count, wanted)
    return intervals.by_reliability(now, bounds, wanted, policy), sure


def _needed(value: Given | None, option: str, method: str) -> Given:
    if value is None:
        raise Unreadable(f"The method {method} needs {option}.")
    return value
