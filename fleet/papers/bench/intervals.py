"""When to calibrate again, by the published methods."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.measures.times import read_span
from fleet.papers.bench.answers import Answer
from fleet.papers.bench.asked import about
from fleet.papers.bench.reading import numbers, pairs_of_table
from fleet.refusals import Unreadable
from fleet.rules import intervals
from fleet.rules.cautions import FOR_RECORDS
from fleet.rules.intervals import Count, IntervalPolicy

if TYPE_CHECKING:
    from fleet.papers.bench.asked import Asked
    from fleet.rules.intervals import Proposal

METHODS = ("test", "staircase", "control-chart", "in-use-time", "in-service-checking")

_ASSUMED = (
    "The step sizes, bounds and limits are the room's policy; ILAC-G24 gives none.",
    "A proposal changes nothing: a person accepts it, and the use and the risk of the item count too.",
)
SOURCE = "ILAC-G24:2022 / OIML D 10:2022; interval test: NCSLI RP-1, method A3 (read in quotation)"
# Where a face leaves one empty: the room's usual policy, as the command has it.
_USUAL = {"lengthen": 25.0, "shorten": 50.0, "good": 80.0, "confidence": 0.95}
_USUAL_SPANS = {"shortest": "30d", "longest": "1095d"}


def interval(asked: Asked) -> Answer:
    """Propose a calibration interval by a published method, with the evidence. Changes nothing."""
    policy = _policy(asked)
    now = _span(asked, "interval")
    if now < 1:
        raise asked.amiss("interval", "The interval now is at least one day, as in 365d.")
    with about("method"):
        method = _method(asked.text("method") or "test")
    proposal, sure = _propose(method, now, asked, policy)
    values = {
        "confidence": sure,
        "proposed_days": proposal.interval,
        "calibrate_now": proposal.calibrate_now,
        "method": proposal.method,
        "evidence": proposal.evidence,
        "policy": policy,
    }
    facts = {
        "Calibrate": "NOW, before it is used again" if proposal.calibrate_now else None,
        "Proposed": f"{proposal.interval} days",
        "Method": proposal.method,
        "Confidence": None if sure is None else f"{100 * sure:.1f} %",
        "Evidence": proposal.evidence,
    }
    return Answer(values, facts, SOURCE, _ASSUMED, FOR_RECORDS)


def _policy(asked: Asked) -> IntervalPolicy:
    good_results = asked.count("good_results")
    return IntervalPolicy(
        _span(asked, "shortest"),
        _span(asked, "longest"),
        _usual(asked, "lengthen"),
        _usual(asked, "shorten"),
        1 if good_results is None else good_results,
        _usual(asked, "good") / 100,
        unit=Count.DAYS,
    )


def _usual(asked: Asked, name: str) -> float:
    given = asked.number(name)
    return _USUAL[name] if given is None else given


def _span(asked: Asked, name: str) -> int:
    text = asked.text(name) or _USUAL_SPANS.get(name) or asked.need(name)
    with about(name):
        return read_span(text)


def _method(asked: str) -> str:
    """A method by its name or the beginning of it, with dashes or without."""
    typed = "-".join(asked.casefold().replace("-", " ").split())
    found = [name for name in METHODS if typed and name.startswith(typed)]
    if len(found) != 1:
        raise Unreadable(f"{asked!r} is not a method here. Known: {', '.join(METHODS)}.")
    return found[0]


def _propose(method: str, now: int, asked: Asked, policy: IntervalPolicy) -> tuple[Proposal, float | None]:
    """What the method proposes, and how sure it is where it says so."""
    if method == "test":
        return _test(now, asked, policy)
    if method == "staircase":
        return _staircase(now, asked, policy)
    if method == "control-chart":
        return _control_chart(now, asked, policy)
    if method == "in-use-time":
        return _in_use_time(now, asked, policy), None
    text = asked.needed(asked.text("checks"), "checks", method)
    with about("checks"):
        checks = numbers(text, "checks in % of the check limit")
    return intervals.in_service_check(now, [share / 100 for share in checks], policy), None


def _control_chart(now: int, asked: Asked, policy: IntervalPolicy) -> tuple[Proposal, float]:
    asked.needed(asked.fields.get("points"), "points", "control-chart")
    table = asked.points()
    confidence = _usual(asked, "confidence")
    with about("points"):
        days, errors = pairs_of_table(table)
        results = [intervals.ChartedResult(day, error / 100) for day, error in zip(days, errors, strict=True)]
        return intervals.control_chart(now, results, policy, confidence), confidence


def _in_use_time(now: int, asked: Asked, policy: IntervalPolicy) -> Proposal:
    over = asked.needed(asked.text("over"), "over", "in-use-time")
    with about("over"):
        span = read_span(over)
    limit = asked.needed(asked.number("most_use"), "most_use", "in-use-time")
    counted = asked.needed(asked.number("used"), "used", "in-use-time")
    return intervals.in_use_time(now, limit, counted, span, policy, "units of use")


def _test(now: int, asked: Asked, policy: IntervalPolicy) -> tuple[Proposal, float]:
    """The interval test, and the confidence with which the true share lies off the target."""
    within = asked.needed(asked.count("in_tolerance"), "in_tolerance", "test")
    count = asked.needed(asked.count("of"), "of", "test")
    wanted = asked.needed(asked.number("target"), "target", "test")
    bounds = intervals.reliability(within, count, _usual(asked, "confidence"))
    sure = intervals.confidence_off_target(within, count, wanted)
    return intervals.by_reliability(now, bounds, wanted, policy), sure


def _staircase(now: int, asked: Asked, policy: IntervalPolicy) -> tuple[Proposal, float | None]:
    """The staircase on results as found, or on counts alone."""
    shares, within = asked.text("shares"), asked.count("in_tolerance")
    called = asked.called
    if shares is None and within is None:
        raise asked.amiss(
            "shares",
            f"The staircase needs results: {called('shares')} 40,65 (each error as found in % of its "
            f"tolerance, oldest first), or counts alone: {called('in_tolerance')} 27 {called('of')} 30, "
            f"with the {called('target')} that is wanted.",
        )
    if asked.only_one("the results", "shares", "in_tolerance") == "shares":
        with about("shares"):
            found = [share / 100 for share in numbers(shares or "", "errors in % of tolerance")]
        return intervals.staircase(now, found, policy), None
    count = asked.needed(asked.count("of"), "of", "staircase on counts")
    target = asked.number("target")
    proposal = intervals.staircase_by_count(now, within or 0, count, target, policy)
    sure = None if target is None else intervals.confidence_off_target(within or 0, count, target)
    return proposal, sure
