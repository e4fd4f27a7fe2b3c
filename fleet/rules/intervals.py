"""When should an item be calibrated again: proposals by published methods, with their evidence.

ILAC-G24 / OIML D 10: the staircase (method 1) lengthens the interval after good results and shortens it after
a bad one; "other statistical approaches" (method 5) ask whether enough items of a kind stay within tolerance.
The document gives no step sizes: these are the room's policy and are always shown. A proposal changes
nothing; a person accepts it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fleet.bolting.distributions import beta_quantile
from fleet.refusals import Unreadable


@dataclass(frozen=True, slots=True)
class IntervalPolicy:
    """The room's own step sizes and bounds."""

    shortest_months: int
    longest_months: int
    lengthen_percent: float
    shorten_percent: float
    good_results_to_lengthen: int = 1
    good_share: float = 0.8
    """A result is good up to this share of its tolerance (ILAC-G24 says: for example 80 %)."""

    def __post_init__(self) -> None:
        if not 1 <= self.shortest_months <= self.longest_months:
            raise Unreadable("The shortest interval must be at least a month and no longer than the longest.")
        if not (self.lengthen_percent > 0 and 0 < self.shorten_percent < 100):  # noqa: PLR2004  Hundred is per cent.
            raise Unreadable("An interval is lengthened by more than 0 % and shortened by 0 to 100 %.")
        if self.good_results_to_lengthen < 1 or not 0 < self.good_share <= 1:
            raise Unreadable(
                "At least one good result lengthens, and good means within 0 to 100 % of tolerance."
            )


@dataclass(frozen=True, slots=True)
class Proposal:
    """An interval to consider."""

    months: int
    method: str
    evidence: str


@dataclass(frozen=True, slots=True)
class Reliability:
    """How many of a kind were found within tolerance, and what share that speaks for."""

    within: int
    count: int
    lower: float
    """With the stated confidence, at least this share stays within tolerance."""
    upper: float
    """With the stated confidence, at most this share does."""
    confidence: float


def staircase(current_months: int, shares_of_tolerance: Sequence[float], policy: IntervalPolicy) -> Proposal:
    """Propose by the staircase; ``shares_of_tolerance`` are |error| over tolerance as found, newest last.

    Raises ``Unreadable`` without any result.
    """
    if not shares_of_tolerance:
        raise Unreadable("The staircase needs at least one calibration as found.")
    latest = shares_of_tolerance[-1]
    wanted = policy.good_results_to_lengthen
    good = sum(share <= policy.good_share for share in shares_of_tolerance[-wanted:])
    if not latest <= 1:  # Written so that what is not a number shortens too.
        months = _shorter(current_months, policy)
    elif good == wanted:
        months = _longer(current_months, policy)
    else:
        months = _bounded(current_months, policy)
    found = (
        f"last found at {100 * latest:.0f} % of tolerance; {good} of the {wanted} that lengthen were within "
        f"{100 * policy.good_share:.0f} %"
    )
    return Proposal(months, "staircase, ILAC-G24 method 1", _evidence(found, current_months, months, policy))


def reliability(within: int, count: int, confidence: float = 0.95) -> Reliability:
    """Give one-sided exact (Clopper-Pearson) bounds on the share that stays within tolerance."""
    if not 0 <= within <= count or count < 1 or not 0 < confidence < 1:
        raise Unreadable(
            f"{within} of {count} within tolerance: count what was calibrated and what was good."
        )
    outside = count - within
    lower = beta_quantile(1 - confidence, within, outside + 1) if within else 0.0
    upper = beta_quantile(confidence, within + 1, outside) if outside else 1.0
    return Reliability(within, count, lower, upper, confidence)


def by_reliability(
    current_months: int, found: Reliability, target_share: float, policy: IntervalPolicy
) -> Proposal:
    """Propose for a kind of item: the interval changes only where the evidence decides."""
    if not 0 < target_share < 1:
        raise Unreadable("The share that should stay within tolerance lies between 0 and 1, as in 0.95.")
    if found.upper < target_share:
        months = _shorter(current_months, policy)
    elif found.lower > target_share:
        months = _longer(current_months, policy)
    else:
        months = _bounded(current_months, policy)
    said = (
        f"{found.within} of {found.count} within tolerance, so {100 * found.lower:.0f} to "
        f"{100 * found.upper:.0f} % (each bound at {100 * found.confidence:.0f} % confidence), "
        f"and {100 * target_share:.0f} % is wanted"
    )
    method = "share within tolerance, ILAC-G24 method 5"
    return Proposal(months, method, _evidence(said, current_months, months, policy))


def _longer(months: int, policy: IntervalPolicy) -> int:
    return _bounded(max(months, math.floor(months * (1 + policy.lengthen_percent / 100) + 1e-9)), policy)


def _shorter(months: int, policy: IntervalPolicy) -> int:
    return _bounded(min(months - 1, math.floor(months * (1 - policy.shorten_percent / 100) + 1e-9)), policy)


def _bounded(months: int, policy: IntervalPolicy) -> int:
    return min(max(months, policy.shortest_months), policy.longest_months)


def _evidence(found: str, before: int, after: int, policy: IntervalPolicy) -> str:
    change = f"stays at {after} months" if after == before else f"from {before} to {after} months"
    return (
        f"{found}: {change}. The room's steps are +{policy.lengthen_percent:g} % and "
        f"−{policy.shorten_percent:g} %, within {policy.shortest_months} to {policy.longest_months} months."
    )
