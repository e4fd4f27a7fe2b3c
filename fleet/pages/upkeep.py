"""Upkeep that a note proves, entries taken back, an item's own limit, and going out of service."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.limits import LimitSlip, end_limit, set_limit
from fleet.desk.upkeep import DoneSlip, record_done, retire, withdraw
from fleet.desk.usage import reverse_use
from fleet.lists.items import item_facts
from fleet.lists.limits import limits
from fleet.lists.tasks import tasks_of
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day, show_hours
from fleet.pages.guard import Form, Guard, Typed
from fleet.pages.items import clocks_of
from fleet.pages.on_item import OnItem
from fleet.pages.reading import Number, day, figure, request_id, whole
from fleet.pages.taking_back import entry_of_upkeep, entry_of_use
from fleet.rules.evidence import Proof
from fleet.rules.limits import Clocks
from fleet.rules.upkeep import CountsFrom, spoken

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.people import Actor


class Upkeep(OnItem):
    """Forms of one item; each is one act."""

    def __init__(self, guard: Guard) -> None:
        super().__init__(guard)
        self._done = ("items/done.html", _told_of_tasks)
        self._limit = ("items/limit.html", _told_of_tasks)
        self._retire = ("items/retire.html", _told_of_tasks)

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        for way, show, act in (
            ("/items/{tag}/done", self.show_done, self.note_done),
            ("/items/{tag}/done/{entry}", self.show_entry, self.take_entry_back),
            ("/items/{tag}/use/{entry}", self.show_use, self.take_use_back),
            ("/items/{tag}/limit", self.show_limit, self.limit),
            ("/items/{tag}/retire", self.show_retire, self.retire),
        ):
            router.add_api_route(way, show, methods=["GET"], response_model=None)
            router.add_api_route(way, act, methods=["POST"], response_model=None)
        return router

    def show_done(self, request: Request, tag: str, task: str = "") -> Response:
        return self.show(request, self._guard.sure(request), tag, self._done, task=task[:80])

    def note_done(self, request: Request, tag: str, form: Typed) -> Response:
        who = self._guard.sure(request)

        def act(db: Connection, item: ItemLine, site: SiteLine, by: Actor, now: datetime) -> str:
            on = day(form.get("on"), site.today(now))
            note = form.get("note") or None
            done = record_done(
                db, DoneSlip(request_id(form), item.tag, form.get("task"), on, note), by=by, now=now
            )
            clocks = (
                show_day(done.due_on) if done.due_on else "",
                f"at {done.due_cycles:,} cycles" if done.due_cycles is not None else "",
                f"at {show_hours(done.due_minutes)} pump hours" if done.due_minutes is not None else "",
            )
            following = " or ".join(clock for clock in clocks if clock)
            return f"{spoken(done.task)} of {show_tag(item.tag)} is done. Next due {following}."

        return self.act(request, who, tag, form, self._done, act)

    def show_entry(self, request: Request, tag: str, entry: Number) -> Response:
        who = self._guard.sure(request)
        return self.show(request, who, tag, ("items/entry.html", entry_of_upkeep(entry)))

    def take_entry_back(self, request: Request, tag: str, entry: Number, form: Typed) -> Response:
        who, told = self._guard.sure(request), entry_of_upkeep(entry)

        def act(db: Connection, item: ItemLine, site: SiteLine, by: Actor, now: datetime) -> str:
            told(db, item, site, now)
            undone = withdraw(db, entry, form.get("reason"), client_id=request_id(form), by=by, now=now)
            return f"Entry {undone.entry} withdraws entry {entry}. Both stay readable."

        return self.act(request, who, tag, form, ("items/entry.html", told), act)

    def show_use(self, request: Request, tag: str, entry: Number) -> Response:
        who = self._guard.sure(request)
        return self.show(request, who, tag, ("items/entry.html", entry_of_use(entry)))

    def take_use_back(self, request: Request, tag: str, entry: Number, form: Typed) -> Response:
        who, told = self._guard.sure(request), entry_of_use(entry)

        def act(db: Connection, item: ItemLine, site: SiteLine, by: Actor, now: datetime) -> str:
            told(db, item, site, now)
            booked = reverse_use(db, entry, form.get("reason"), client_id=request_id(form), by=by, now=now)
            return (
                f"Entry {booked.entry} takes entry {entry} back. The meter reads {booked.total_cycles:,} "
                f"cycles and {show_hours(booked.total_minutes)} pump hours."
            )

        return self.act(request, who, tag, form, ("items/entry.html", told), act)

    def show_limit(self, request: Request, tag: str, task: str = "") -> Response:
        return self.show(request, self._guard.sure(request), tag, self._limit, task=task[:80])

    def limit(self, request: Request, tag: str, form: Typed) -> Response:
        who = self._guard.sure(request)

        def act(db: Connection, item: ItemLine, _site: SiteLine, by: Actor, now: datetime) -> str:
            if form.get("do") == "end":
                done = end_limit(db, item.tag, form.get("task"), form.get("reason"), by=by, now=now)
            else:
                done = set_limit(db, _limit_slip(item, form), by=by, now=now)
            due = f" Due by the calendar: {show_day(done.due_on)}." if done.due_on else ""
            return f"{spoken(done.task)} of {show_tag(done.tag)} goes by {done.clocks}.{due}"

        return self.act(request, who, tag, form, self._limit, act)

    def show_retire(self, request: Request, tag: str) -> Response:
        return self.show(request, self._guard.sure(request), tag, self._retire)

    def retire(self, request: Request, tag: str, form: Typed) -> Response:
        who = self._guard.sure(request)

        def act(db: Connection, item: ItemLine, _site: SiteLine, by: Actor, now: datetime) -> str:
            gone = retire(db, item.tag, form.get("reason"), by=by, now=now)
            kept = item_facts(db, [gone.id], now=now)[gone.id].kept
            told = [
                f"It is still reserved for {one.job} from {show_day(one.first_day)}: find another."
                for one in kept
            ]
            return " ".join((f"{show_tag(gone.tag)} is retired.", *told))

        return self.act(request, who, tag, form, self._retire, act)


def _told_of_tasks(db: Connection, item: ItemLine, site: SiteLine, now: datetime) -> dict[str, object]:
    tasks = tasks_of(db, item.id)
    renewed = [task for task in tasks if task.counts_from != CountsFrom.ASSEMBLY]
    return {
        "task": "",
        "today": site.today(now),
        "noted": [task.name for task in renewed if task.proved_by == Proof.NOTE],
        "proved": [(task.name, task.proved_by) for task in renewed if task.proved_by != Proof.NOTE],
        "tasks": [task.name for task in tasks],
        "limits": [(line, clocks_of(line)) for line in limits(db, tag=item.tag)],
        "kept": item_facts(db, [item.id], now=now)[item.id].kept,
    }


def _limit_slip(item: ItemLine, form: Form) -> LimitSlip:
    months, cycles = form.get("months"), form.get("cycles")
    hours = figure(form.get("hours"), "the pump hours")
    clocks = Clocks(
        whole(months, "the months") if months else None,
        whole(cycles, "the cycles") if cycles else None,
        None if hours is None else whole(str(round(hours * 60)), "the pump hours"),
    )
    return LimitSlip(item.tag, form.get("task"), clocks, form.get("reason"), form.get("document"))
