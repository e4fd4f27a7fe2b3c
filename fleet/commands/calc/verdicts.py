"""A verdict on a reading."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.commands.calc.answers import Answer, give
from fleet.commands.calc.reading import signed
from fleet.commands.printing import Json
from fleet.refusals import Unreadable


def register(calc: typer.Typer) -> None:
    """Put the command of this module on the group."""
    calc.command()(verdict)


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
