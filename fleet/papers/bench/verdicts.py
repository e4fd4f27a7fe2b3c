"""A verdict on a reading."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.papers.bench.answers import Answer
from fleet.papers.bench.asked import about
from fleet.papers.bench.reading import signed
from fleet.refusals import Unreadable
from fleet.rules.calibrations import Limits, judge_value, rule_for
from fleet.rules.cautions import FOR_RECORDS

if TYPE_CHECKING:
    from fleet.papers.bench.asked import Asked

_FIGURES = ("reading", "uncertainty", "nominal", "lower", "upper")


def verdict(asked: Asked) -> Answer:
    """Pass or fail by a decision rule, with the acceptance limits and the probability of conformance."""
    asked.need("reading")
    figures, unit = _one_unit(asked)
    limits = Limits(figures.get("lower"), figures.get("upper"))
    guard, k = asked.number("guard"), asked.number("k")
    guard, k = 1.0 if guard is None else guard, 2.0 if k is None else k
    with about("guard"):
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
    return Answer(values, facts, source, assumed, FOR_RECORDS)


def _one_unit(asked: Asked) -> tuple[dict[str, float], str]:
    """The figures as numbers, and the one unit that they are all in, or none."""
    read = {}
    for name in _FIGURES:
        text = asked.text(name)
        if text is not None:
            with about(name):
                read[name] = signed(text)
    units = {unit for _, unit in read.values()}
    if len(units) > 1:
        said = ", ".join(f"{asked.called(name)} in {unit or 'no unit'}" for name, (_, unit) in read.items())
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
