"""When to calibrate again, by the published methods."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from fleet.commands.calc.answers import Answer, give
from fleet.commands.calc.reading import numbers, only_one, pairs_of_file
from fleet.commands.printing import Json
from fleet.refusals import Unreadable

if TYPE_CHECKING:
    from fleet.rules.intervals import IntervalPolicy, Proposal

Given = TypeVar("Given")

METHODS = ("test", "staircase", "control-chart", "in-use-time", "in-service-checking")

_ASSUMED = (
    "The step sizes, bounds and limits are the room's policy; ILAC-G24 gives none.",
    "A proposal changes nothing: a person accepts it, and the use and the risk of the item count too.",
)
SOURCE = "ILAC-G24:2022 / OIML D 10:2022; interval test: NCSLI RP-1, method A3 (read in quotation)"


def register(calc: typer.Typer) -> None:
    """Put the command of this module on the group."""
    calc.command()(interval)


@dataclass(frozen=True, slots=True)
class _Evidence:
    """What is known of the item or of its kind, as typed."""

    within: int | None
    count: int | None
    target: float | None
    confidence: float
    shares: str | None
    checks: str | None
    points: Path | None
    use: tuple[float | None, float | None, str | None]


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
        str | None,
        typer.Option("--shares", help="Staircase: errors as found, in % of tolerance, oldest first: 40,65."),
    ] = None,
    checks: Annotated[
        str | None,
        typer.Option("--checks", help="In-service checks, in % of the check limit, oldest first: 20,35."),
    ] = None,
    points: Annotated[
        Path | None, typer.Option("--points", help="Control chart: days, then error in % of tolerance.")
    ] = None,
    most_use: Annotated[float | None, typer.Option("--most-use", help="In-use time: the limit.")] = None,
    used: Annotated[float | None, typer.Option("--used", help="In-use time: counted use …")] = None,
    over: Annotated[str | None, typer.Option("--over", help="… over how long: 90d.")] = None,
    lengthen: Annotated[float, typer.Option("--lengthen", help="The room's step up, %.")] = 25.0,
    shorten: Annotated[float, typer.Option("--shorten", help="The room's step down, %.")] = 50.0,
    good: Annotated[float, typer.Option("--good", help="The room's bound of a good result, %.")] = 80.0,
    good_results: Annotated[
        int, typer.Option("--good-results", help="How many in a row lengthen, in this room.")
    ] = 1,
    shortest: Annotated[str, typer.Option("--shortest", help="The room's shortest.")] = "30d",
    longest: Annotated[str, typer.Option("--longest", help="The room's longest.")] = "1095d",
    as_json: Json = False,
) -> None:
    """Propose a calibration interval by a published method, with the evidence. Changes nothing."""
    from fleet.measures.times import read_span
    from fleet.rules.cautions import FOR_RECORDS
    from fleet.rules.intervals import Count, IntervalPolicy

    policy = IntervalPolicy(
        read_span(shortest),
        read_span(longest),
        lengthen,
        shorten,
        good_results,
        good / 100,
        unit=Count.DAYS,
    )
    now = read_span(current)
    if now < 1:
        raise Unreadable("The interval now is at least one day, as in 365d.")
    given = _Evidence(within, count, target, confidence, shares, checks, points, (most_use, used, over))
    proposal, sure = _propose(_method(method), now, given, policy)
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
    give(Answer(values, facts, SOURCE, _ASSUMED, FOR_RECORDS), as_json=as_json)


def _method(asked: str) -> str:
    """A method by its name or the beginning of it, with dashes or without."""
    typed = "-".join(asked.casefold().replace("-", " ").split())
    found = [name for name in METHODS if typed and name.startswith(typed)]
    if len(found) != 1:
        raise Unreadable(f"{asked!r} is not a method here. Known: {', '.join(METHODS)}.")
    return found[0]


def _propose(
    method: str, now: int, given: _Evidence, policy: IntervalPolicy
) -> tuple[Proposal, float | None]:
    """What the method proposes, and how sure it is where it says so."""
    from fleet.measures.times import read_span
    from fleet.rules import intervals

    if method == "test":
        return _test(now, given, policy)
    if method == "staircase":
        return _staircase(now, given, policy)
    if method == "control-chart":
        days, errors, _ = pairs_of_file(_needed(given.points, "--points", method))
        results = [intervals.ChartedResult(day, error / 100) for day, error in zip(days, errors, strict=True)]
        return intervals.control_chart(now, results, policy, given.confidence), given.confidence
    if method == "in-use-time":
        most, used, over = given.use
        span = read_span(_needed(over, "--over", method))
        limit, counted = _needed(most, "--most-use", method), _needed(used, "--used", method)
        return intervals.in_use_time(now, limit, counted, span, policy, "units of use"), None
    checks = numbers(_needed(given.checks, "--checks", method), "checks in % of the check limit")
    return intervals.in_service_check(now, [share / 100 for share in checks], policy), None


def _test(now: int, given: _Evidence, policy: IntervalPolicy) -> tuple[Proposal, float]:
    """The interval test, and the confidence with which the true share lies off the target."""
    from fleet.rules import intervals

    within = _needed(given.within, "--in-tolerance", "test")
    count = _needed(given.count, "--of", "test")
    wanted = _needed(given.target, "--target", "test")
    bounds = intervals.reliability(within, count, given.confidence)
    sure = intervals.confidence_off_target(within, count, wanted)
    return intervals.by_reliability(now, bounds, wanted, policy), sure


def _staircase(now: int, given: _Evidence, policy: IntervalPolicy) -> tuple[Proposal, float | None]:
    """The staircase on results as found, or on counts alone."""
    from fleet.rules import intervals

    if given.shares is None and given.within is None:
        raise Unreadable(
            "The staircase needs results: --shares 40,65 (each error as found in % of its tolerance, oldest "
            "first), or counts alone: --in-tolerance 27 --of 30, with the --target that is wanted."
        )
    if only_one("the results", shares=given.shares, in_tolerance=given.within) == "shares":
        found = [share / 100 for share in numbers(given.shares or "", "errors in % of tolerance")]
        return intervals.staircase(now, found, policy), None
    within, count = given.within or 0, _needed(given.count, "--of", "staircase on counts")
    proposal = intervals.staircase_by_count(now, within, count, given.target, policy)
    sure = None if given.target is None else intervals.confidence_off_target(within, count, given.target)
    return proposal, sure


def _needed(value: Given | None, option: str, method: str) -> Given:
    if value is None:
        raise Unreadable(f"The method {method} needs {option}.")
    return value
