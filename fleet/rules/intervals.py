"""When should an item be calibrated again: proposals by published methods, with their evidence.

ILAC-G24 / OIML D 10 names five methods: the staircase (1) lengthens the interval after good results and
shortens it after a bad one; the control chart (2) takes drift and dispersion from the results over time; the
in-use time (3) counts use instead of days; in-service checking (4), also called the black box, checks against
a check standard between calibrations and calls the item in when it is found outside the check limit; other
statistical approaches (5) ask whether enough items of a kind stay within tolerance. The document gives no
step sizes: these are the room's policy and are always shown. A proposal changes nothing; a person accepts it.
Intervals are whole months or whole days, as the policy says.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from fleet.bolting.distributions import beta_below, beta_quantile, student_factor
from fleet.bolting.figures import exceeds, known
from fleet.bolting.uncertainty import LineFit, fit_line
from fleet.refusals import Unreadable


class Count(StrEnum):
    """What intervals are counted in."""

    DAYS = "days"
    MONTHS = "months"


@dataclass(frozen=True, slots=True)
class IntervalPolicy:
    """The room's own step sizes and bounds."""

    shortest: int
    longest: int
    lengthen_percent: float
    shorten_percent: float
    good_results_to_lengthen: int = 1
    good_share: float = 0.8
    """A result is good up to this share of its tolerance (ILAC-G24 says: for example 80 %)."""
    unit: Count = Count.MONTHS

    def __post_init__(self) -> None:
        if not 1 <= self.shortest <= self.longest:
            raise Unreadable("The shortest interval must be at least one and no longer than the longest.")
        if not (self.lengthen_percent > 0 and 0 < self.shorten_percent < 100):  # noqa: PLR2004  Hundred is per cent.
            raise Unreadable("An interval is lengthened by more than 0 % and shortened by 0 to 100 %.")
        if self.good_results_to_lengthen < 1 or not 0 < self.good_share <= 1:
            raise Unreadable(
                "At least one good result lengthens, and good means within 0 to 100 % of tolerance."
            )


@dataclass(frozen=True, slots=True)
class Proposal:
    """An interval to consider."""

    interval: int
    unit: Count
    method: str
    evidence: str
    calibrate_now: bool = False
    """Whether the item is to be calibrated before further use, however long the interval is."""


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


def staircase(current: int, shares_of_tolerance: Sequence[float], policy: IntervalPolicy) -> Proposal:
    """Propose by the staircase; ``shares_of_tolerance`` are error over tolerance as found, newest last.

    Raises ``Unreadable`` without any result.
    """
    if not shares_of_tolerance:
        raise Unreadable("The staircase needs at least one calibration as found.")
    latest = abs(shares_of_tolerance[-1])
    wanted = policy.good_results_to_lengthen
    good = sum(abs(share) <= policy.good_share for share in shares_of_tolerance[-wanted:])
    if not latest <= 1:  # Written so that what is not a number shortens too.
        after = _shorter(current, policy)
    elif good == wanted:
        after = _longer(current, policy)
    else:
        after = _bounded(current, policy)
    found = (
        f"last found at {100 * latest:.0f} % of tolerance; {good} of the {wanted} that lengthen were within "
        f"{100 * policy.good_share:.0f} %"
    )
    return _propose("staircase, ILAC-G24 method 1", found, current, after, policy)


def staircase_by_count(
    current: int, within: int, count: int, target_share: float | None, policy: IntervalPolicy
) -> Proposal:
    """Propose by the staircase where only counts are known: one step by whether the target share is kept.

    Without a target every one must have been within tolerance. Chance is not weighed, as the interval test
    does. Raises ``Unreadable`` for counts or a target that cannot be.
    """
    _refuse_counts(within, count)
    if target_share is not None:
        _refuse_target(target_share)
    wanted = 1.0 if target_share is None else target_share
    enough = count >= policy.good_results_to_lengthen
    if exceeds(wanted, within / count):
        after = _shorter(current, policy)
    elif enough and (target_share is None or exceeds(within / count, wanted)):
        after = _longer(current, policy)
    else:
        after = _bounded(current, policy)
    share = 100 * within / count
    found = f"{within} of {count} within tolerance, {share:.0f} %, and {100 * wanted:g} % is wanted"
    return _propose("staircase on counts, ILAC-G24 method 1", found, current, after, policy)


def in_service_check(current: int, shares_of_limit: Sequence[float], policy: IntervalPolicy) -> Proposal:
    """Propose from checks against a check standard since the last calibration.

    ``shares_of_limit`` are deviation over the check limit, newest last. One outside the limit calls the
    item in now and shortens the interval by a step. As many good ones as the policy asks for, in a row and
    newest, lengthen it by a step, at most to the policy's longest; otherwise it stays. Check limit, steps and
    cap are the room's policy. Raises ``Unreadable`` without any check.
    """
    if not shares_of_limit:
        raise Unreadable("In-service checking needs at least one check since the last calibration.")
    wanted = policy.good_results_to_lengthen
    worst = max(map(abs, shares_of_limit))
    outside = sum(not abs(share) <= 1 for share in shares_of_limit)
    good = sum(abs(share) <= policy.good_share for share in shares_of_limit[-wanted:])
    if outside:
        after = min(current, _shorter(current, policy))
        found = f"{outside} of {len(shares_of_limit)} checks outside the check limit: calibrate now"
    else:
        after = _longer(current, policy) if good == wanted else _bounded(current, policy)
        found = (
            f"{len(shares_of_limit)} checks within the check limit, the widest at {100 * worst:.0f} % of it; "
            f"{good} of the {wanted} that lengthen were within {100 * policy.good_share:.0f} %"
        )
    proposal = _propose("in-service checking (black box), ILAC-G24 method 4", found, current, after, policy)
    return replace(proposal, calibrate_now=bool(outside))


@dataclass(frozen=True, slots=True)
class ChartedResult:
    """One calibration as found: when, counted in the policy's unit, and its error over tolerance, signed."""

    at: float
    share: float


def control_chart(
    current: int, results: Sequence[ChartedResult], policy: IntervalPolicy, confidence: float = 0.95
) -> Proposal:
    """Propose from drift and dispersion: how long until the drift line, with its band, meets the tolerance.

    The results are those of one point of one item, oldest first, and not adjusted in between. The band holds
    a single further result with ``confidence`` (Student's factor on the scatter about the fitted line). One
    step of the room's policy is the most by which the interval grows. Raises ``Unreadable`` under three
    results or when they are not in order of time.
    """
    if not 0 < confidence < 1:
        raise Unreadable("A confidence lies between 0 and 1, as in 0.95.")
    times = [one.at for one in results]
    if times != sorted(set(times)) or not all(math.isfinite(one.share) for one in results):
        raise Unreadable("A control chart needs its results in order of time, each once, with its error.")
    line = fit_line(times, [one.share for one in results], origin=times[-1] if times else 0.0)
    factor = student_factor(confidence, line.degrees_of_freedom)
    reach = next((n for n in range(policy.longest) if not _holds(line, factor, n + 1)), policy.longest)
    after = min(_bounded(reach, policy), _longer(current, policy))
    if not abs(results[-1].share) <= 1:
        after = min(after, _shorter(current, policy))
    found = (
        f"{len(results)} results drift by {100 * line.slope * current:+.1f} % of tolerance in {current} "
        f"{policy.unit} and scatter by {100 * line.residual:.1f} %; with {100 * confidence:.0f} % confidence "
        f"the next is within tolerance for {'at least ' if reach == policy.longest else ''}{reach} "
        f"{policy.unit}"
    )
    return _propose("control chart, ILAC-G24 method 2", found, current, after, policy)


def _holds(line: LineFit, factor: float, later: int) -> bool:
    value, on_line = line.at(line.origin + later)
    return abs(value) + factor * math.hypot(on_line, line.residual) <= 1


def in_use_time(
    current: int, most_use: float, used: float, over: float, policy: IntervalPolicy, what: str = "cycles"
) -> Proposal:
    """Propose the interval in which an item reaches ``most_use``, at the pace of ``used`` ``over`` a span.

    ``over`` is counted in the policy's unit. The limit itself stays on the meter; the proposal is the
    calendar's side of it, and never longer than the policy's longest. Raises ``Unreadable`` for a limit or a
    pace that is not above zero.
    """
    if not (known(most_use) and known(used) and known(over)):
        raise Unreadable("The limit of use, the use counted and its span must all be above zero.")
    reach = math.floor(most_use / used * over + 1e-9)
    found = (
        f"{used:,.6g} {what} in {over:g} {policy.unit}, so {most_use:,.6g} {what} are reached after {reach} "
        f"{policy.unit}"
    )
    return _propose("in-use time, ILAC-G24 method 3", found, current, _bounded(reach, policy), policy)


def reliability(within: int, count: int, confidence: float = 0.95) -> Reliability:
    """Give one-sided exact (Clopper-Pearson) bounds on the share that stays within tolerance."""
    _refuse_counts(within, count)
    if not 0 < confidence < 1:
        raise Unreadable("A confidence lies between 0 and 1, as in 0.95.")
    outside = count - within
    lower = beta_quantile(1 - confidence, within, outside + 1) if within else 0.0
    upper = beta_quantile(confidence, within + 1, outside) if outside else 1.0
    return Reliability(within, count, lower, upper, confidence)


def confidence_off_target(within: int, count: int, target_share: float) -> float:
    """Give the confidence with which the true share lies on that side of the target where it was found.

    It is one less the binomial probability, at the target, of a count as far off or farther: where it reaches
    the confidence of ``by_reliability``, the bound crosses the target and the interval changes.
    """
    _refuse_target(target_share)
    _refuse_counts(within, count)
    if within < target_share * count:
        return beta_below(target_share, within + 1, count - within)
    return 1 - beta_below(target_share, within, count - within + 1)


def by_reliability(current: int, found: Reliability, target_share: float, policy: IntervalPolicy) -> Proposal:
    """Propose for a kind of item: the interval changes only where the evidence decides.

    It is the interval test, method A3 of NCSLI RP-1 (read in quotation): the interval fails when the target
    lies outside the binomial limits of the share that was found.
    """
    _refuse_target(target_share)
    if found.upper < target_share:
        after = _shorter(current, policy)
    elif found.lower > target_share:
        after = _longer(current, policy)
    else:
        after = _bounded(current, policy)
    said = (
        f"{found.within} of {found.count} within tolerance, so {100 * found.lower:.0f} to "
        f"{100 * found.upper:.0f} % (each bound at {100 * found.confidence:.0f} % confidence), "
        f"and {100 * target_share:.0f} % is wanted"
    )
    method = "interval test, NCSLI RP-1 method A3; ILAC-G24 method 5"
    return _propose(method, said, current, after, policy)


def _refuse_counts(within: int, count: int) -> None:
    if not 0 <= within <= count or count < 1:
        raise Unreadable(
            f"{within} of {count} within tolerance: count what was calibrated, and what of it was found good."
        )


def _refuse_target(target_share: float) -> None:
    if not 0 < target_share < 1:
        raise Unreadable("The share that should stay within tolerance lies between 0 and 1, as in 0.95.")


def _longer(current: int, policy: IntervalPolicy) -> int:
    return _bounded(max(current, math.floor(current * (1 + policy.lengthen_percent / 100) + 1e-9)), policy)


def _shorter(current: int, policy: IntervalPolicy) -> int:
    return _bounded(min(current - 1, math.floor(current * (1 - policy.shorten_percent / 100) + 1e-9)), policy)


def _bounded(interval: int, policy: IntervalPolicy) -> int:
    return min(max(interval, policy.shortest), policy.longest)


def _propose(method: str, found: str, before: int, after: int, policy: IntervalPolicy) -> Proposal:
    unit = policy.unit
    change = f"stays at {after} {unit}" if after == before else f"from {before} to {after} {unit}"
    evidence = (
        f"{found}: {change}. The room's steps are +{policy.lengthen_percent:g} % and "
        f"−{policy.shorten_percent:g} %, within {policy.shortest} to {policy.longest} {unit}."
    )
    return Proposal(after, unit, method, evidence)
