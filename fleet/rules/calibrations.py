"""Did a calibration find the item within its tolerance, by the decision rule that was agreed beforehand.

ILAC-G8:09/2019: the acceptance limit lies a guard band w inside the tolerance limit TL. Up to TL − w is a
pass, up to TL a conditional pass, up to TL + w a conditional fail, beyond it a fail. w is 0 (simple
acceptance), 0.83·U or U, where U is the expanded uncertainty (k = 2).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from fleet.bolting.distributions import normal_below
from fleet.bolting.figures import exceeds, known
from fleet.refusals import Unreadable


class DecisionRule(StrEnum):
    """How much of the uncertainty is kept clear of the tolerance limit."""

    SIMPLE = "simple acceptance"
    GUARD_083 = "guard band 0.83 U"
    GUARD_FULL = "guard band U"

    @property
    def guard_factor(self) -> float:
        """The guard band as a share of the expanded uncertainty."""
        return {DecisionRule.SIMPLE: 0.0, DecisionRule.GUARD_083: 0.83, DecisionRule.GUARD_FULL: 1.0}[self]


class Result(StrEnum):
    """What a point, or a whole calibration, comes to; from the best to the worst."""

    PASS = "pass"  # noqa: S105  A result, not a word of access.
    CONDITIONAL_PASS = "conditional pass"  # noqa: S105  A verdict, no secret.
    CONDITIONAL_FAIL = "conditional fail"
    FAIL = "fail"


@dataclass(frozen=True, slots=True)
class PointFacts:
    """One calibrated point; all figures in one unit."""

    reference: float
    """What the reference showed."""
    found: float
    """What the item gave or showed."""
    tolerance: float
    """Allowed error, either way."""
    expanded: float | None
    """Expanded uncertainty (k = 2); None when the certificate states none."""


@dataclass(frozen=True, slots=True)
class PointVerdict:
    """One point against its limits."""

    facts: PointFacts
    error: float
    acceptance_limit: float
    result: Result
    conformance_probability: float | None
    """The probability that the true error lies within tolerance; None without an uncertainty."""


@dataclass(frozen=True, slots=True)
class CalibrationVerdict:
    """A whole calibration: as bad as its worst point."""

    rule: DecisionRule
    result: Result
    points: tuple[PointVerdict, ...]
    sentence: str

    @property
    def out_of_tolerance(self) -> bool:
        """Whether a measured error passed the tolerance limit, so that earlier work must be looked at."""
        return self.result in {Result.CONDITIONAL_FAIL, Result.FAIL}


def judge_point(point: PointFacts, rule: DecisionRule) -> PointVerdict:
    """Judge one point; raises ``Unreadable`` for impossible figures or a rule that lacks its uncertainty."""
    if not (known(point.tolerance) and math.isfinite(point.reference) and math.isfinite(point.found)):
        raise Unreadable("A calibrated point needs a reference, what was found, and a tolerance above zero.")
    expanded = point.expanded
    if expanded is not None and not (math.isfinite(expanded) and expanded >= 0):
        raise Unreadable(f"An expanded uncertainty of {expanded:g} cannot be.")
    if expanded is None and rule is not DecisionRule.SIMPLE:
        raise Unreadable(
            f"The decision rule {rule.value!r} needs the expanded uncertainty of every point: "
            "ask the laboratory for it, or agree on simple acceptance."
        )
    error = point.found - point.reference
    guard = rule.guard_factor * (expanded or 0.0)
    return PointVerdict(
        facts=point,
        error=error,
        acceptance_limit=point.tolerance - guard,
        result=_result(abs(error), point.tolerance, guard),
        conformance_probability=None if expanded is None else _conformance(error, point.tolerance, expanded),
    )


def _result(error: float, tolerance: float, guard: float) -> Result:
    limits = (tolerance - guard, Result.PASS), (tolerance, Result.CONDITIONAL_PASS)
    for limit, result in (*limits, (tolerance + guard, Result.CONDITIONAL_FAIL)):
        if not exceeds(error, limit):
            return result
    return Result.FAIL


def _conformance(error: float, tolerance: float, expanded: float) -> float:
    """Give the share of a normal distribution about the error that lies within tolerance (JCGM 106)."""
    if expanded == 0:
        return float(not exceeds(abs(error), tolerance))
    standard = expanded / 2
    return normal_below(tolerance, error, standard) - normal_below(-tolerance, error, standard)


def judge_calibration(points: Sequence[PointFacts], rule: DecisionRule) -> CalibrationVerdict:
    """Judge all points as found, or as left; raises ``Unreadable`` without any point."""
    if not points:
        raise Unreadable("A calibration needs at least one point.")
    judged = tuple(judge_point(point, rule) for point in points)
    order = list(Result)
    worst = max(judged, key=lambda one: (order.index(one.result), abs(one.error) / one.facts.tolerance))
    sentence = (
        f"{worst.result.capitalize()} by {rule}: worst at {worst.facts.reference:,.6g}, error "
        f"{worst.error:+,.4g}, allowed {worst.facts.tolerance:,.4g}."
    )
    if any(one.acceptance_limit <= 0 for one in judged):
        sentence += " The guard band is as wide as the tolerance: no result could pass at this laboratory."
    return CalibrationVerdict(rule, worst.result, judged, sentence)
