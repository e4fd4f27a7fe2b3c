"""Changing what is reserved: another item in its place, a later end, two windows of one; and giving it up.

What was reserved stays on record as it was: its row is ended with a reason, and a new one names it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.bolting.findings import Severity
from fleet.ledgers import daybook
from fleet.ledgers.reservations import Keeping, end, keep
from fleet.lists.candidates import first_free, members
from fleet.lists.items import find_item, item_facts
from fleet.lists.jobs import JobLine, find_job
from fleet.lists.reservations import ReservationLine, carried_out, class_of, expired, find_reservation
from fleet.lists.sites import SiteLine, find_site
from fleet.measures.tags import show_tag
from fleet.measures.times import show_moment, zone
from fleet.refusals import NotPossible
from fleet.rules.item_classes import read_class
from fleet.rules.people import THE_CLOCK, Actor, require
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role
from fleet.rules.requests import used_otherwise
from fleet.rules.reservations import NOT_FETCHED, judge_window, make_window

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.loans import Verdict
    from fleet.rules.reservations import Window


@dataclass(frozen=True, slots=True)
class ChangeSlip:
    """What of a reservation is to change, and why.

    A swap names the item ``instead``, or leaves it to the room. An extension gives ``until``. A split gives
    ``split_at``; its second part stays with the item, goes to ``instead``, or with ``swap`` to what the room
    chooses. ``number`` says which, where an item has several reservations for the job.
    """

    client_id: str
    item: str
    job: str
    reason: str
    instead: str | None = None
    swap: bool = False
    until: datetime | None = None
    split_at: datetime | None = None
    number: int | None = None


@dataclass(frozen=True, slots=True)
class Changed:
    """The item that was reserved, the one that is now, for the window [starts_at, ends_at)."""

    was: str
    tag: str
    job: str
    starts_at: datetime
    ends_at: datetime
    verdict: Verdict | None
    again: bool = False


def swap(db: Connection, slip: ChangeSlip, *, by: Actor, now: datetime) -> Changed:
    """Let another item take the place of a reserved one, for what is left of its window."""
    desk = _Desk(db, slip, by, now)
    if desk.before:
        return desk.before
    line, why = desk.line, written_reason(slip.reason, "why another takes its place")
    if line.fetched and desk.is_out:
        raise NotPossible(
            f"{show_tag(line.tag)} is out for {line.job}: take it back first, or split its window."
        )
    desk.end(f"swapped: {why}")
    window = desk.window(max(line.starts_at, now), line.ends_at)
    changed = desk.keep(f"{slip.client_id}/swap", window, *desk.another(window))
    desk.enter("reservation swapped", {"item": line.tag, "instead": changed.tag, "reason": why})
    return changed


def extend(db: Connection, slip: ChangeSlip, *, by: Actor, now: datetime) -> Changed:
    """Let a reservation end later, if the item is free until then."""
    desk = _Desk(db, slip, by, now)
    if desk.before:
        return desk.before
    line, why = desk.line, written_reason(slip.reason, "why it is needed longer")
    if slip.until is None or slip.until <= line.ends_at:
        ends = show_moment(line.ends_at, desk.there)
        raise NotPossible(f"It is reserved until {ends} already; give a later end, or set it free.")
    desk.end(f"extended: {why}")
    window = desk.window(line.starts_at, slip.until)
    changed = desk.keep(f"{slip.client_id}/extend", window, *desk.same(window))
    body = {"item": line.tag, "was_to": line.ends_at.isoformat(), "to": slip.until.isoformat(), "reason": why}
    desk.enter("reservation extended", body)
    return changed


def split(db: Connection, slip: ChangeSlip, *, by: Actor, now: datetime) -> Changed:
    """Make two windows of one; answers the second, which may go to another item."""
    desk = _Desk(db, slip, by, now)
    if desk.before:
        return desk.before
    line, why = desk.line, written_reason(slip.reason, "why its window is split")
    at = slip.split_at
    if at is None or not max(line.starts_at, now) < at < line.ends_at:
        raise NotPossible("Split it at a time that is still ahead, between its start and its end.")
    desk.end(f"split: {why}")
    first, second = desk.window(line.starts_at, at), desk.window(at, line.ends_at)
    desk.keep(f"{slip.client_id}/first", first, *desk.same(first))
    other = desk.another(second) if slip.swap or slip.instead else desk.same(second)
    changed = desk.keep(f"{slip.client_id}/split", second, *other)
    body = {"item": line.tag, "then": changed.tag, "at": at.isoformat(), "reason": why}
    desk.enter("reservation split", body)
    return changed


class _Desk:
    """One reservation that is to change, and what every change of it does."""

    def __init__(self, db: Connection, slip: ChangeSlip, by: Actor, now: datetime) -> None:
        self.db, self.slip, self.by, self.now = db, slip, by, now
        item = find_item(db, slip.item)
        self.job: JobLine = find_job(db, slip.job)
        self.there = zone(self.job.time_zone)
        self.before = self._before(item.tag)
        if self.before:
            return
        self.site: SiteLine = find_site(db, self.job.site)
        require(by, self.site.id, self.site.name, Role.PLANNER, Role.KEEPER)
        self.line: ReservationLine = find_reservation(db, item, self.job, show_tag(item.tag), slip.number)
        self.is_out = item.job == self.job.code
        if self.line.ends_at <= now:
            raise NotPossible(f"The window of {show_tag(item.tag)} for {self.job.code} has already passed.")

    def _before(self, was: str) -> Changed | None:
        for kind in ("swap", "extend", "split"):
            row = carried_out(self.db, f"{self.slip.client_id}/{kind}")
            if row:
                item_id, job_id, starts_at, ends_at = row
                if job_id != self.job.id:
                    raise used_otherwise(self.slip.client_id)
                tag = item_facts(self.db, [item_id], now=self.now)[item_id].tag
                return Changed(was, tag, self.job.code, starts_at, ends_at, None, again=True)
        return None

    def end(self, why: str) -> None:
        """End the row; whoever ended it meanwhile was first."""
        if not end(self.db, self.line.number, why, by=self.by, now=self.now):
            raise NotPossible("Nothing was changed: this reservation was changed at another desk just now.")

    def window(self, starts_at: datetime, ends_at: datetime) -> Window:
        """The window at the job's site."""
        return make_window(self.job.code, self.job.site, starts_at, ends_at, there=self.there, now=self.now)

    def same(self, window: Window) -> tuple[int, Verdict, str | None]:
        """The item itself, when nothing lasting stands against it."""
        return self._named(self.line.item_id, window, self.line.any_of)

    def another(self, window: Window) -> tuple[int, Verdict, str | None]:
        """The item that was named instead, or what the room chooses of the class."""
        line = self.line
        if self.slip.instead:
            item = find_item(self.db, self.slip.instead)
            if item.id == line.item_id:
                raise NotPossible(f"{show_tag(item.tag)} cannot take its own place; name another item.")
            if item.kind != line.kind:
                raise NotPossible(f"A {item.kind} cannot take the place of a {line.kind}.")
            some = members(self.db, self.site.id, read_class(line.any_of)) if line.any_of else []
            of_class = any(one.id == item.id for one in some)
            return self._named(item.id, window, line.any_of if of_class else None)
        wanted = class_of(line)
        some = members(self.db, self.site.id, wanted)
        found = first_free(self.db, some, window, now=self.now, lock=True, without={line.item_id})
        if found is None:
            first, last = (show_moment(at, self.there) for at in (window.starts_at, window.ends_at))
            raise NotPossible(
                f"Nothing was changed: nothing else like this ({wanted}) is free and in order from {first} "
                f"to {last}."
            )
        return found[0].id, judge_window(found[1], window), line.any_of

    def _named(self, item_id: int, window: Window, any_of: str | None) -> tuple[int, Verdict, str | None]:
        facts = item_facts(self.db, [item_id], now=self.now, lock=True)[item_id]
        verdict = judge_window(facts, window)
        hard = [found.sentence for found in verdict.findings if found.severity is Severity.HARD]
        if hard:
            raise NotPossible(f"Nothing was changed. {show_tag(facts.tag)}: {' '.join(hard)}")
        return item_id, verdict, any_of

    def keep(
        self, client_id: str, window: Window, item_id: int, verdict: Verdict, any_of: str | None
    ) -> Changed:
        """Write the row that takes the place of the ended one."""
        line = self.line
        expires_at = line.expires_at
        if expires_at and (line.fetched or not self.now < expires_at < window.ends_at):
            expires_at = None
        when = window.starts_at, window.ends_at
        row = Keeping(
            client_id, item_id, line.job_id, line.joint_id, *when, any_of, expires_at, line.number, line.plan
        )
        keep(self.db, [row], by=self.by, now=self.now)
        return Changed(line.tag, verdict.tag, self.job.code, *when, verdict)

    def enter(self, act: str, body: Mapping[str, object]) -> None:
        """Write the day book."""
        daybook.enter(
            self.db, self.site.id, by=self.by, now=self.now, act=act, about=self.job.code, body=body
        )


def expire_reservations(db: Connection, *, now: datetime) -> tuple[ReservationLine, ...]:
    """Give up what nobody fetched in time; once only, however often it is called."""
    ended = []
    for line in expired(db, now):
        until = show_moment(line.expires_at, zone(line.time_zone)) if line.expires_at else ""
        why = f"{NOT_FETCHED} {until}"
        if end(db, line.number, why, by=THE_CLOCK, now=now):
            site = find_site(db, line.site)
            body = {"item": line.tag, "reason": why, "any_of": line.any_of}
            enter = {"act": "reservation expired", "about": line.job, "body": body}
            daybook.enter(db, site.id, by=THE_CLOCK, now=now, **enter)  # type: ignore[arg-type]
            ended.append(line)
    return tuple(ended)
