"""May an item be kept for a job, and what must be seen to before it goes out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from fleet.bolting.findings import Finding, Severity
from fleet.measures.times import local_day, show_day
from fleet.refusals import NotPossible
from fleet.rules.due import never_done
from fleet.rules.loans import ItemFacts, Verdict, ratings
from fleet.rules.upkeep import Stop, spoken

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date, datetime
    from zoneinfo import ZoneInfo


# A reservation that ends by itself so soon, if nobody fetches the item, is worth a word.
EXPIRES_SOON = timedelta(days=3)
# How the reason begins of one that ended so.
NOT_FETCHED = "not fetched by"


@dataclass(frozen=True, slots=True)
class Window:
    """The job and time [starts_at, ends_at) for which an item is wanted, its days at the site, and today."""

    job: str
    site: str
    starts_at: datetime
    ends_at: datetime
    first_day: date
    last_day: date
    today: date


def make_window(
    job: str, site: str, starts_at: datetime, ends_at: datetime, *, there: ZoneInfo, now: datetime
) -> Window:
    """The window with its days; its last day is the one in which it ends, since its end lies outside it."""
    last = local_day(ends_at - timedelta(microseconds=1), there)
    return Window(job, site, starts_at, ends_at, local_day(starts_at, there), last, local_day(now, there))


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
        # By the instant, not by the day: one job may begin at noon where another ends at noon.
        if kept.starts_at < window.ends_at and window.starts_at < kept.ends_at:
            days = f"{show_day(kept.first_day)} to {show_day(kept.last_day)}"
            sentence = f"{kept.reserved_by} reserved it for {kept.job} from {days}."
            yield Finding(Severity.HARD, "reserved", sentence, item.tag)


def _passing(item: ItemFacts, window: Window) -> Iterator[Finding]:
    yield from _absent(item, window)
    for hold in item.holds:
        sentence = f"On hold since {show_day(hold.opened_on)}: {hold.reason}"
        yield Finding(Severity.SOFT, "on hold", sentence, item.tag)
    for notice in item.recalls:
        yield Finding(Severity.SOFT, "recalled", f"Recalled: {notice}", item.tag)
    if item.proof_failed_on:
        sentence = f"It failed its proof test on {show_day(item.proof_failed_on)}."
        yield Finding(Severity.SOFT, "proof failed", sentence, item.tag)
    yield from _dues(item, window)


def _absent(item: ItemFacts, window: Window) -> Iterator[Finding]:
    """Who else has it: no matter where it is to be back before the window, unless it is late already."""
    if item.out and item.out.job != window.job:
        late = item.out.back_on < window.today
        severity = Severity.SOFT if late or item.out.back_on >= window.first_day else Severity.NOTE
        verb = "was to be back" if late else "to be back"
        sentence = f"Out with {item.out.borrower} for {item.out.job}, {verb} {show_day(item.out.back_on)}."
        yield Finding(severity, "late back" if late else "out", sentence, item.tag)
    if item.away:
        sentence = f"Away for {item.away.errand} at {item.away.sent_to} since {show_day(item.away.sent_on)}."
        yield Finding(Severity.SOFT, "away", sentence, item.tag)


def _dues(item: ItemFacts, window: Window) -> Iterator[Finding]:
    for due in item.dues:
        name = spoken(due.task)
        severity = Severity.HARD if due.stop == Stop.HARD else Severity.SOFT
        if due.due_on and never_done(due.last_done_on, due.counts_from):
            yield Finding(severity, "due", f"{name} was never done.", item.tag)
        elif due.due_on and due.due_on < window.today:
            yield Finding(severity, "due", f"{name} was due {show_day(due.due_on)}.", item.tag)
        elif due.due_on and due.due_on < window.last_day:
            when = "before" if due.due_on < window.first_day else "inside"
            sentence = f"{name} falls due {show_day(due.due_on)}, {when} the window."
            yield Finding(severity, "due", sentence, item.tag)
        elif due.use_left is not None and due.use_left <= 0:
            yield Finding(severity, "due", f"{name} is due by use.", item.tag)
        elif due.forecast_on and due.forecast_on < window.last_day:
            sentence = f"{name} is likely to fall due by use about {show_day(due.forecast_on)}."
            yield Finding(Severity.NOTE, "due by use", sentence, item.tag)


def check_window(starts_at: datetime, ends_at: datetime, now: datetime) -> None:
    """Refuse a window that makes no sense; raises NotPossible."""
    if ends_at <= starts_at:
        raise NotPossible("The window ends before it starts.")
    if ends_at <= now:
        raise NotPossible("The window has already passed.")


def check_expiry(expires_at: datetime | None, ends_at: datetime, now: datetime) -> None:
    """Refuse an expiry that could never do anything, or would at once; raises NotPossible."""
    if expires_at is not None and not now < expires_at < ends_at:
        raise NotPossible(
            "What is to be given up unless fetched must say a time ahead, before its window ends."
        )
