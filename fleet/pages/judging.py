"""What lies on the counter, judged: who takes it, for which job, until when, and every reason against it."""

from __future__ import annotations

from collections import Counter as Tally
from dataclasses import dataclass, replace
from datetime import timedelta
from hashlib import sha256
from typing import TYPE_CHECKING

from fleet.bolting.findings import Severity
from fleet.desk.loans import IssueSlip, look_over
from fleet.lists.items import item_facts
from fleet.lists.jobs import jobs
from fleet.lists.people import find_person
from fleet.lists.reservations import reservations
from fleet.lists.tasks import tasks_of
from fleet.measures.times import last_day, read_day, show_day, zone
from fleet.pages.basket import MOST
from fleet.pages.finding import own_item, own_job, own_site, own_sites
from fleet.pages.next_steps import Step, step_for, step_for_task
from fleet.refusals import Refusal
from fleet.rules.loans import Verdict, Wish, judge

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.bolting.findings import Finding
    from fleet.lists.access import Visitor
    from fleet.lists.items import ItemLine
    from fleet.lists.jobs import JobLine
    from fleet.lists.people import PersonLine
    from fleet.lists.sites import SiteLine
    from fleet.pages.basket import Basket
    from fleet.rules.loans import ItemFacts

# Kit is fetched before a job begins.
FETCHED_AHEAD = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Judged:
    """One item, with what stops it and what to do about each, and what is only to know."""

    item: ItemLine
    goes: bool
    stops: tuple[tuple[str, Step | None], ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Kit:
    """What is reserved for a job and was not fetched yet, as it would lie on the counter."""

    job: str
    name: str
    basket: Basket


@dataclass(frozen=True, slots=True)
class Laid:
    """The counter as it lies. ``proposed``: the room chose the job; ``errors``: what it cannot read."""

    basket: Basket
    site: SiteLine
    holder: PersonLine | None
    jobs: tuple[tuple[str, str], ...]
    job: JobLine | None
    proposed: bool
    back_on: date | None
    judged: tuple[Judged, ...]
    reserved: tuple[str, ...]
    """What else is reserved for the job and was not fetched."""
    kits: tuple[Kit, ...]
    """While nothing lies on the counter: what could be loaded."""
    errors: tuple[str, ...]

    @property
    def staying(self) -> tuple[Judged, ...]:
        """What must stay in."""
        return tuple(one for one in self.judged if not one.goes)

    @property
    def seen(self) -> str:
        """Names what the page says, so that nothing else is handed out than what was seen."""
        said = [
            (one.item.tag, one.goes, [sentence for sentence, _ in one.stops], one.notes)
            for one in self.judged
        ]
        return sha256(repr(said).encode()).hexdigest()[:16]

    @property
    def missing(self) -> str:
        """What is still to be said before anything can go out."""
        wanted = (
            ("the badge of whoever takes it", self.holder),
            ("the job", self.job),
            ("the day it is to be back", self.back_on),
        )
        return " and ".join(what for what, there in wanted if there is None)

    @property
    def slip(self) -> IssueSlip | None:
        """What would be issued; empty while something is missing."""
        if self.holder is None or self.job is None or self.back_on is None or not self.judged:
            return None
        tags = tuple(one.item.tag for one in self.judged)
        return IssueSlip("", tags, self.holder.badge, self.job.code, self.back_on)


def lay(db: Connection, who: Visitor, basket: Basket, now: datetime) -> Laid:
    """Find and judge everything that lies on the counter."""
    errors: list[str] = []
    items = _items(db, who, basket, errors)
    site = own_site(db, who, items[0].site if items else "")
    facts = item_facts(db, [item.id for item in items], now=now) if items else {}
    offered = _offered(db, own_sites(db, who), now)
    job = _job(db, who, basket, errors)
    proposed = None if job or basket.job else _proposed(facts.values(), offered, site.today(now), now)
    chosen = job or proposed
    back_on = _back_on(basket, chosen, errors)
    verdicts = _verdicts(db, items, facts, chosen, back_on, site.today(now), now, errors)
    on_it, reserved = {item.tag for item in items}, _reserved(db, site, now)
    return Laid(
        basket=replace(basket, going=tuple(item.tag for item in items)),
        site=site,
        holder=_holder(db, basket, errors),
        jobs=tuple((one.code, _named(one)) for one in _with(offered, job)),
        job=chosen,
        proposed=proposed is not None,
        back_on=back_on,
        judged=tuple(_judged(db, item, verdicts[item.id], basket) for item in items),
        reserved=tuple(tag for tag in (reserved.get(chosen.code, ()) if chosen else ()) if tag not in on_it),
        kits=() if items or job else tuple(_kits(basket, offered, reserved)),
        errors=tuple(errors),
    )


def _items(db: Connection, who: Visitor, basket: Basket, errors: list[str]) -> list[ItemLine]:
    found: dict[int, ItemLine] = {}
    for tag in basket.going:
        try:
            item = own_item(db, who, tag)[0]
        except Refusal as refusal:
            errors.append(str(refusal))
        else:
            found[item.id] = item
    return list(found.values())


def _holder(db: Connection, basket: Basket, errors: list[str]) -> PersonLine | None:
    if not basket.to:
        return None
    try:
        return find_person(db, basket.to)
    except Refusal as refusal:
        errors.append(str(refusal))
        return None


def _job(db: Connection, who: Visitor, basket: Basket, errors: list[str]) -> JobLine | None:
    if not basket.job:
        return None
    try:
        return own_job(db, who, basket.job)[0]
    except Refusal as refusal:
        errors.append(str(refusal))
        return None


def _offered(db: Connection, sites: Sequence[SiteLine], now: datetime) -> list[JobLine]:
    """The jobs that run, or soon will, by start."""
    found = [job for site in sites for job in jobs(db, site=site.code, since=now)]
    return [job for job in found if job.starts_at <= now + FETCHED_AHEAD]


def _with(offered: list[JobLine], job: JobLine | None) -> list[JobLine]:
    return offered if job is None or job in offered else [*offered, job]


def _named(job: JobLine) -> str:
    return f"{job.code}, {job.name}, until {show_day(_ends(job))}"


def _ends(job: JobLine) -> date:
    return last_day(job.ends_at.astimezone(zone(job.time_zone)))


def _proposed(
    facts: Iterable[ItemFacts], offered: Sequence[JobLine], today: date, now: datetime
) -> JobLine | None:
    """The job that most of it is reserved for, else the only one that runs."""
    soon = today + FETCHED_AHEAD
    kept = Tally(
        one.job for fact in facts for one in fact.kept if one.first_day <= soon and today <= one.last_day
    )
    for code, _ in kept.most_common(1):
        return next((job for job in offered if job.code == code), None)
    running = [job for job in offered if job.starts_at <= now]
    return running[0] if len(running) == 1 else None


def _back_on(basket: Basket, job: JobLine | None, errors: list[str]) -> date | None:
    try:
        return read_day(basket.back) if basket.back else _ends(job) if job else None
    except Refusal as refusal:
        errors.append(str(refusal))
        return None


def _verdicts(  # What is judged, for what, and when.
    db: Connection,
    items: Sequence[ItemLine],
    facts: Mapping[int, ItemFacts],
    job: JobLine | None,
    back_on: date | None,
    today: date,
    now: datetime,
    errors: list[str],
) -> Mapping[int, Verdict]:
    """By the gate; as long as the job or the day is missing, for today alone."""
    if job and back_on and items:
        tags = tuple(item.tag for item in items)
        try:
            return look_over(db, IssueSlip("", tags, "", job.code, back_on), now=now)[1]
        except Refusal as refusal:
            errors.append(str(refusal))
    for_job = job.code if job else ""
    return {item.id: judge(facts[item.id], Wish(for_job, item.site, today, today)) for item in items}


def _judged(db: Connection, item: ItemLine, verdict: Verdict, basket: Basket) -> Judged:
    stops = [one for one in verdict.findings if one.severity is not Severity.NOTE]
    notes = tuple(one.sentence for one in verdict.findings if one.severity is Severity.NOTE)
    tasks = {
        task.name: step_for_task(item.tag, task.name, task.proved_by, task.counts_from)
        for task in (tasks_of(db, item.id) if stops else ())
    }
    said = tuple((one.sentence, _step(item, one, tasks, basket)) for one in stops)
    return Judged(item, verdict.goes_out, said, notes)


def _step(item: ItemLine, finding: Finding, tasks: Mapping[str, Step], basket: Basket) -> Step | None:
    """What to do next about what stops it."""
    if finding.code == "out":
        return Step("Take it back first", basket.with_coming(item.tag).address)
    if finding.code == "reserved":
        return Step("Take another one, or ask whoever planned it", f"/items/{item.tag}")
    found = step_for(item.tag, finding, tasks)
    if finding.severity is Severity.SOFT and finding.code == "overdue" and found:
        return Step(f"{found.words}, or ask a safety officer for a concession", found.way)
    return found or Step("Take another one", f"/items/{item.tag}")


def _reserved(db: Connection, site: SiteLine, now: datetime) -> dict[str, list[str]]:
    """What is reserved at the site and was not fetched yet, by job."""
    found: dict[str, list[str]] = {}
    for line in reservations(db, since=now, site=site.code):
        if not line.fetched and line.tag not in found.setdefault(line.job, []):
            found[line.job].append(line.tag)
    return found


def _kits(basket: Basket, offered: Iterable[JobLine], reserved: Mapping[str, Sequence[str]]) -> Iterator[Kit]:
    for job in offered:
        if tags := tuple(reserved.get(job.code, ()))[:MOST]:
            yield Kit(job.code, job.name, replace(basket, job=job.code, back="", going=tags))
