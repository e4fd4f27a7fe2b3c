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
    """Expanded uncertainty as stated, with its coverage factor; None when the certificate states none."""


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


@dataclass(frozen=True, slots=True)
class Limits:
    """Tolerance limits of a value; None on the side where there is none. All figures in one unit."""

    lower: float | None
    upper: float | None


@dataclass(frozen=True, slots=True)
class LimitVerdict:
    """One value against its limits."""

    acceptance: Limits
    """The limits, each a guard band inside the tolerance limit."""
    result: Result
    conformance_probability: float | None
    """The probability that the true value lies within tolerance; None without an uncertainty."""


def rule_for(guard_factor: float) -> DecisionRule:
    """Give the decision rule whose guard band is this share of U; raises ``Unreadable`` for any other."""
    for rule in DecisionRule:
        if rule.guard_factor == guard_factor:
            return rule
    raise Unreadable(f"A guard band of {guard_factor:g} U is none of ILAC-G8: write 0, 0.83 or 1.")


def judge_value(
    value: float, limits: Limits, expanded: float | None, rule: DecisionRule, coverage_factor: float = 2.0
) -> LimitVerdict:
    """Judge a value against one or two tolerance limits.

    ``expanded`` is the expanded uncertainty as stated, with its coverage factor; None when none is stated.
    Raises ``Unreadable`` for impossible figures or a rule that lacks its uncertainty.
    """
    lower, upper = limits.lower, limits.upper
    stated = [one for one in (value, lower, upper, coverage_factor) if one is not None]
    if not all(math.isfinite(one) for one in stated) or coverage_factor <= 0:
        raise Unreadable(
            "The value, its limits and the coverage factor must be plain numbers, the last above zero."
        )
    if lower is None and upper is None:
        raise Unreadable("A verdict needs a lower or an upper tolerance limit, or both.")
    if lower is not None and upper is not None and not exceeds(upper, lower):
        raise Unreadable(f"The lower limit ({lower:g}) must lie below the upper limit ({upper:g}).")
    if expanded is not None and not (math.isfinite(expanded) and expanded >= 0):
        raise Unreadable(f"An expanded uncertainty of {expanded:g} cannot be.")
    if expanded is None and rule is not DecisionRule.SIMPLE:
        raise Unreadable(
            f"The decision rule {rule.value!r} needs the expanded uncertainty of every point: "
            "ask the laboratory for it, or agree on simple acceptance."
        )
    guard = rule.guard_factor * (expanded or 0.0)
    return LimitVerdict(
        acceptance=_moved(limits, -guard),
        result=_result(value, limits, guard),
        conformance_probability=None
        if expanded is None
        else _conformance(value, limits, expanded / coverage_factor),
    )


def judge_point(point: PointFacts, rule: DecisionRule, coverage_factor: float = 2.0) -> PointVerdict:
    """Judge one point; raises ``Unreadable`` for impossible figures or a rule that lacks its uncertainty."""
    if not (known(point.tolerance) and math.isfinite(point.reference) and math.isfinite(point.found)):
        raise Unreadable("A calibrated point needs a reference, what was found, and a tolerance above zero.")
    error = point.found - point.reference
    limits = Limits(-point.tolerance, point.tolerance)
    judged = judge_value(error, limits, point.expanded, rule, coverage_factor)
    return PointVerdict(
        facts=point,
        error=error,
        acceptance_limit=point.tolerance - rule.guard_factor * (point.expanded or 0.0),
        result=judged.result,
        conformance_probability=judged.conformance_probability,
    )


def _moved(limits: Limits, outward: float) -> Limits:
    return Limits(
        None if limits.lower is None else limits.lower - outward,
        None if limits.upper is None else limits.upper + outward,
    )


def _result(value: float, limits: Limits, guard: float) -> Result:
    within = (-guard, Result.PASS), (0.0, Result.CONDITIONAL_PASS), (guard, Result.CONDITIONAL_FAIL)
    for outward, result in within:
        moved = _moved(limits, outward)
        over = moved.upper is not None and exceeds(value, moved.upper)
        under = moved.lower is not None and exceeds(moved.lower, value)
        if not (over or under):
            return result
    return Result.FAIL


def _conformance(value: float, limits: Limits, standard: float) -> float:
    """Give the share of a normal distribution about the value that lies within tolerance (JCGM 106)."""
    if standard == 0:
        return float(_result(value, limits, 0.0) is Result.PASS)
    below_upper = 1.0 if limits.upper is None else normal_below(limits.upper, value, standard)
    below_lower = 0.0 if limits.lower is None else normal_below(limits.lower, value, standard)
    return below_upper - below_lower


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
