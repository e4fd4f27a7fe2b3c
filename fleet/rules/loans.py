"""May this item go out, and every reason why not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.bolting.figures import known
from fleet.bolting.findings import Finding, Severity
from fleet.bolting.parts import Kind
from fleet.measures.times import last_day, show_day
from fleet.rules.due import is_overdue, never_done
from fleet.rules.hoses import BULK_MONTHS, bulk_too_old, storage_ends_on
from fleet.rules.upkeep import CountsFrom, Stop, spoken

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date, datetime

_RATED = (Kind.WRENCH, Kind.PUMP, Kind.HOSE, Kind.COUPLER)


@dataclass(frozen=True, slots=True)
class DueStand:
    """One due line of an item. ``stop`` says what being overdue does at the counter."""

    task_id: int
    task: str
    stop: str
    last_done_on: date | None
    due_on: date | None
    use_left: float | None
    forecast_on: date | None
    counts_from: str = CountsFrom.DONE


@dataclass(frozen=True, slots=True)
class OpenHold:
    """Why an item is kept in, and since when."""

    cause: str
    reason: str
    opened_on: date


@dataclass(frozen=True, slots=True)
class Out:
    """Who has an item, for which job, and when it is to be back."""

    borrower: str
    job: str
    back_on: date


@dataclass(frozen=True, slots=True)
class Away:
    """Where an item was sent, why, and on which day."""

    errand: str
    sent_to: str
    sent_on: date


@dataclass(frozen=True, slots=True)
class Kept:
    """A live reservation for some job: its window [starts_at, ends_at), and its days at the site."""

    job: str
    reserved_by: str
    starts_at: datetime
    ends_at: datetime
    first_day: date
    last_day: date


@dataclass(frozen=True, slots=True)
class Waived:
    """A concession in force: one overdue task, for one job, until an instant in the site's own time."""

    task: str
    job: str
    until: datetime


@dataclass(frozen=True, slots=True)
class ItemFacts:
    """Everything the counter judges an item by. Pressures in MPa."""

    tag: str
    kind: str
    site: str
    retired_on: date | None
    assembled_on: date | None
    mwp_advance_mpa: float | None
    mwp_retract_mpa: float | None
    range_mpa: float | None
    relief_advance_mpa: float | None
    charted: bool
    holds: tuple[OpenHold, ...]
    out: Out | None
    dues: tuple[DueStand, ...]
    kept: tuple[Kept, ...]
    waived: tuple[Waived, ...]
    away: Away | None = None
    recalls: tuple[str, ...] = ()
    """The notices of open recalls that name this item."""
    proof_failed_on: date | None = None
    """The day of its last proof test, when that was failed."""
    first_out_on: date | None = None
    bulk_made_on: date | None = None
    storage_months: int | None = None
    bulk_months: int | None = None


@dataclass(frozen=True, slots=True)
class Wish:
    """For which job the item would go out, from which site, on which day, and until when.

    ``asked_on`` is given when that day is still to come, or when nothing is to be handed out: then what is
    out for this very job, or to be back before it goes out, is no obstacle. ``keeper`` is empty when nobody
    hands anything out, and else says whether the one who does is a keeper at that site.
    """

    job: str
    site: str
    today: date
    back_on: date
    asked_on: date | None = None
    keeper: bool | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether an item goes out, and all that was found."""

    tag: str
    findings: tuple[Finding, ...]

    @property
    def goes_out(self) -> bool:
        """Nothing found that stops it."""
        return all(finding.severity is Severity.NOTE for finding in self.findings)


def judge(item: ItemFacts, wish: Wish) -> Verdict:
    """Every reason that speaks against handing the item out. Whatever is not on record counts as a stop."""
    findings = (
        *_presence(item, wish),
        *ratings(item),
        *_sound(item, wish),
        *_holds(item),
        *_reserved(item, wish),
        *(finding for due in item.dues for finding in _due(item, due, wish)),
    )
    return Verdict(item.tag, findings)


def _hard(item: ItemFacts, code: str, sentence: str) -> Finding:
    return Finding(Severity.HARD, code, sentence, item.tag)


def _presence(item: ItemFacts, wish: Wish) -> Iterator[Finding]:
    if item.retired_on:
        yield _hard(item, "retired", f"Retired on {show_day(item.retired_on)}.")
    if item.out:
        out = item.out
        where = f"out with {out.borrower} for {out.job}, to be back {show_day(out.back_on)}."
        if wish.asked_on and (out.job == wish.job or wish.asked_on <= out.back_on < wish.today):
            yield Finding(Severity.NOTE, "out", f"It is {where}", item.tag)
        else:
            yield _hard(item, "out", f"Already {where}")
    if item.away:
        away = item.away
        yield _hard(item, "away", f"Away for {away.errand} at {away.sent_to} since {show_day(away.sent_on)}.")
    if item.site != wish.site:
        yield _hard(item, "elsewhere", f"Belongs to {item.site}, not to {wish.site}.")
    if wish.keeper is False:
        yield _hard(item, "role", f"Only a keeper at {wish.site} hands it out.")


def ratings(item: ItemFacts) -> Iterator[Finding]:
    """What must be on record before an item may ever be put under pressure."""
    if item.kind not in set(Kind):
        yield _hard(item, "kind unknown", f"What it is ({item.kind!r}) is not known here.")
    if item.kind in _RATED:
        for line, mwp in (("advance", item.mwp_advance_mpa), ("retract", item.mwp_retract_mpa)):
            if not known(mwp):
                yield _hard(
                    item,
                    "rating unknown",
                    f"The maximum working pressure of its {line} line is not on record.",
                )
    if item.kind == Kind.WRENCH and not item.charted:
        yield _hard(item, "no chart", "It has no pressure-torque chart on record.")
    if item.kind == Kind.PUMP and not known(item.relief_advance_mpa):
        yield _hard(item, "relief unknown", "Its relief setting is not on record.")
    if item.kind == Kind.GAUGE and not known(item.range_mpa):
        yield _hard(item, "range unknown", "Its range is not on record.")
    if item.kind == Kind.HOSE and item.assembled_on is None:
        yield _hard(item, "age unknown", "Its assembly date is not on record, so its age is unknown.")


def _sound(item: ItemFacts, wish: Wish) -> Iterator[Finding]:
    """What no concession lifts: a recall, a failed proof test, a hose too old before its first day of use."""
    for notice in item.recalls:
        yield _hard(item, "recalled", f"Recalled: {notice}")
    if item.proof_failed_on:
        yield _hard(item, "proof failed", f"It failed its proof test on {show_day(item.proof_failed_on)}.")
    if item.kind == Kind.HOSE and item.assembled_on:
        yield from _hose(item, item.assembled_on, wish)


def _hose(item: ItemFacts, assembled_on: date, wish: Wish) -> Iterator[Finding]:
    stored_until = storage_ends_on(assembled_on, item.storage_months)
    if item.first_out_on is None and stored_until < wish.today:
        yield _hard(
            item,
            "stored too long",
            f"It was never out and may lie in store only until {show_day(stored_until)}.",
        )
    if item.bulk_made_on and bulk_too_old(item.bulk_made_on, assembled_on, item.bulk_months):
        yield _hard(
            item,
            "bulk too old",
            f"It was made up on {show_day(assembled_on)} of bulk hose from {show_day(item.bulk_made_on)}: "
            f"more than {item.bulk_months or BULK_MONTHS} months old, or not yet made.",
        )


def _holds(item: ItemFacts) -> Iterator[Finding]:
    for hold in item.holds:
        yield _hard(
            item, "on hold", f"On hold since {show_day(hold.opened_on)} ({hold.cause}): {hold.reason}"
        )


def _reserved(item: ItemFacts, wish: Wish) -> Iterator[Finding]:
    for kept in item.kept:
        if kept.job != wish.job and kept.first_day <= wish.back_on and wish.today <= kept.last_day:
            window = f"{show_day(kept.first_day)} to {show_day(kept.last_day)}"
            yield _hard(item, "reserved", f"Reserved for {kept.job} from {window}.")


def _due(item: ItemFacts, due: DueStand, wish: Wish) -> Iterator[Finding]:
    if due.due_on is None and due.use_left is None:
        yield _hard(item, "due unknown", f"When {due.task} is due is not on record.")
    elif is_overdue(due.due_on, due.use_left, wish.today):
        yield from _overdue(item, due, wish)
    elif due.due_on and due.due_on < wish.back_on:
        sentence = f"{spoken(due.task)} falls due {show_day(due.due_on)}, before it is to be back."
        yield Finding(_stop(due), "due while out", sentence, item.tag)
    elif due.forecast_on and due.forecast_on < wish.back_on:
        sentence = f"{spoken(due.task)} is likely to fall due by use about {show_day(due.forecast_on)}."
        yield Finding(Severity.NOTE, "due by use while out", sentence, item.tag)


def _overdue(item: ItemFacts, due: DueStand, wish: Wish) -> Iterator[Finding]:
    if due.due_on and due.due_on < wish.today:
        never = never_done(due.last_done_on, due.counts_from)
        verb = "falls" if wish.asked_on and due.due_on >= wish.asked_on else "was"
        why = "was never done" if never else f"{verb} due {show_day(due.due_on)}"
    else:
        why = "is due by use"
    sentence = f"{spoken(due.task)} {why}."
    granted = [w for w in item.waived if w.task == due.task and w.job == wish.job]
    waiver = max(granted, key=lambda w: w.until, default=None)
    if waiver and due.stop == Stop.SOFT:
        until = f"{show_day(waiver.until.date())} {waiver.until:%H:%M %Z}"
        if last_day(waiver.until) < wish.back_on:
            # It would still be out, and overdue, when the exception has ended.
            told = f"{sentence} A concession covers it only until {until}, and it is to be back later."
            yield Finding(Severity.SOFT, "concession too short", told, item.tag)
        else:
            told = f"{sentence} A concession covers it until {until}."
            yield Finding(Severity.NOTE, "concession", told, item.tag)
    else:
        yield Finding(_stop(due), "overdue", sentence, item.tag)


def _stop(due: DueStand) -> Severity:
    return Severity.SOFT if due.stop == Stop.SOFT else Severity.HARD
