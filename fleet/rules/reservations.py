"""May an item be kept for a job, and what must be seen to before it goes out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.bolting.findings import Finding, Severity
from fleet.measures.times import show_day
from fleet.rules.loans import ItemFacts, Verdict, ratings
from fleet.rules.upkeep import Stop

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date


@dataclass(frozen=True, slots=True)
class Window:
    """The job and the days at its site, first and last, for which an item is wanted."""

    job: str
    site: str
    first_day: date
    last_day: date


def judge_window(item: ItemFacts, window: Window) -> Verdict:
    """What stands against keeping the item for this window. Soft findings can be mended before it starts."""
    findings = (*_lasting(item, window), *_passing(item, window), *ratings(item))
    return Verdict(item.tag, findings)


def _lasting(item: ItemFacts, window: Window) -> Iterator[Finding]:
    if item.retired_on:
        yield Finding(Severity.HARD, "retired", f"Retired on {show_day(item.retired_on)}.", item.tag)
    if item.site != window.site:
        sentence = f"Belongs to {item.site}, not to {window.site}."
        yield Finding(Severity.HARD, "elsewhere", sentence, item.tag)
    for kept in item.kept:
        if kept.first_day <= window.last_day and window.first_day <= kept.last_day:
            days = f"{show_day(kept.first_day)} to {show_day(kept.last_day)}"
            sentence = f"Already reserved for {kept.job} from {days}."
            yield Finding(Severity.HARD, "reserved", sentence, item.tag)


def _passing(item: ItemFacts, window: Window) -> Iterator[Finding]:
    if item.out and item.out.job != window.job and item.out.back_on >= window.first_day:
        sentence = f"Out with {item.out.borrower} until {show_day(item.out.back_on)}."
        yield Finding(Severity.SOFT, "out", sentence, item.tag)
    for hold in item.holds:
        sentence = f"On hold since {show_day(hold.opened_on)}: {hold.reason}"
        yield Finding(Severity.SOFT, "on hold", sentence, item.tag)
    for due in item.dues:
        name = due.task.capitalize()
        if due.due_on and due.due_on < window.last_day:
            severity = Severity.HARD if due.stop == Stop.HARD else Severity.SOFT
            when = "before" if due.due_on < window.first_day else "inside"
            sentence = f"{name} falls due {show_day(due.due_on)}, {when} the window."
            yield Finding(severity, "due", sentence, item.tag)
        elif due.use_left is not None and due.use_left <= 0:
            yield Finding(Severity.SOFT, "due", f"{name} is due by use.", item.tag)
        elif due.forecast_on and due.forecast_on < window.last_day:
            sentence = f"{name} is likely to fall due by use about {show_day(due.forecast_on)}."
            yield Finding(Severity.NOTE, "due by use", sentence, item.tag)
