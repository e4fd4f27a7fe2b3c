"""Inspecting an item by its checklist with photographs; one inspection, and withdrawing it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.inspections import InspectionSlip, Shot, record_inspection
from fleet.desk.withdrawals import withdraw_inspection
from fleet.lists.checklists import find_checklist
from fleet.lists.inspections import find_inspection
from fleet.lists.tasks import tasks_of
from fleet.measures.tags import show_tag
from fleet.pages.drawing import draw
from fleet.pages.guard import Form, Guard, Typed, Uploaded, go, status_of
from fleet.pages.on_item import OnItem, theirs
from fleet.pages.photographs import photographs_in
from fleet.pages.reading import Number, day, request_id, whole, word
from fleet.refusals import NotPossible, Refusal
from fleet.rules.evidence import Answer, Occasion, Proof
from fleet.rules.inspections import Given
from fleet.rules.upkeep import spoken

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.desk.inspections import Inspected
    from fleet.lists.access import Visitor
    from fleet.lists.items import ItemLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.people import Actor

# Two lots of photographs, each of a checkpoint or of the whole.
LOTS = ("photographs", "more")


class Inspecting(OnItem):
    """The form with every checkpoint, and the page of what came of it."""

    def __init__(self, guard: Guard) -> None:
        super().__init__(guard)
        self._form = ("items/inspect.html", _told)

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        for way, answer, method in (
            ("/items/{tag}/inspect", self.show_form, "GET"),
            ("/items/{tag}/inspect", self.inspect, "POST"),
            ("/inspections/{number}", self.show_one, "GET"),
            ("/inspections/{number}", self.withdraw, "POST"),
        ):
            router.add_api_route(way, answer, methods=[method], response_model=None)
        return router

    def show_form(self, request: Request, tag: str, task: str = "") -> Response:
        return self.show(request, self._guard.sure(request), tag, self._form, task=task[:80])

    def inspect(self, request: Request, tag: str, form: Uploaded) -> Response:
        who = self._guard.sure(request)
        try:
            shots = _shots(form)
        except Refusal as refusal:
            return self.again(request, who, tag, form, self._form, refusal)

        def act(db: Connection, item: ItemLine, site: SiteLine, by: Actor, now: datetime) -> str:
            done = record_inspection(db, _slip(db, item, site, form, shots, now), by=by, now=now)
            return _said(done)

        return self.act(request, who, tag, form, self._form, act)

    def show_one(self, request: Request, number: Number) -> Response:
        return self._page(request, self._guard.sure(request), number, 200)

    def _page(self, request: Request, who: Visitor, number: int, status: int, **more: object) -> Response:
        with self._guard.look() as (db, _now):
            sheet = find_inspection(db, number)
            item, site = theirs(db, who, sheet.inspection.tag, f"inspection {number}")
        said = {"sheet": sheet, "one": sheet.inspection, "item": item, "site": site}
        return draw(request, self._room, "items/inspection.html", who, status, **(said | more))

    def withdraw(self, request: Request, number: Number, form: Typed) -> Response:
        who = self._guard.sure(request)
        try:
            with self._guard.act(who) as (db, by, now):
                theirs(db, who, find_inspection(db, number).inspection.tag, f"inspection {number}")
                gone = withdraw_inspection(
                    db, number, form.get("reason"), client_id=request_id(form), by=by, now=now
                )
        except Refusal as refusal:
            return self._page(request, who, number, status_of(refusal), error=str(refusal), typed=form)
        told = [f"Entry {gone.number} withdraws inspection {number} of {show_tag(gone.tag)}."]
        if gone.entries:
            told.append("The upkeep that it did is withdrawn with it, and due as before.")
        if gone.result == Answer.REJECT:
            told.append("The hold that it opened stays until somebody releases it with evidence.")
        if gone.held:
            told.append("It had released a hold, so the item is on hold again.")
        return go(f"/items/{gone.tag}", " ".join(told))


def _told(db: Connection, item: ItemLine, site: SiteLine, now: datetime) -> dict[str, object]:
    tasks = [task.name for task in tasks_of(db, item.id) if task.proved_by == Proof.INSPECTION]
    return {
        "checklist": find_checklist(db, item.kind),
        "tasks": tasks,
        "task": "",
        "occasions": [one.value for one in Occasion],
        "answers": [one.value for one in Answer],
        "today": site.today(now),
    }


def _shots(form: Form) -> tuple[Shot, ...]:
    shots: list[Shot] = []
    for lot in LOTS:
        shows = form.get(f"{lot}-show")
        position = whole(shows, "the checkpoint") if shows else None
        shots += (Shot(one, position) for one in photographs_in(form, lot))
    return tuple(shots)


def _slip(  # What is inspected where, what was typed, the photographs, and the time.
    db: Connection, item: ItemLine, site: SiteLine, form: Form, shots: tuple[Shot, ...], now: datetime
) -> InspectionSlip:
    checklist = find_checklist(db, item.kind)
    given = []
    for at in range(1, len(checklist.points) + 1):
        if answer := form.get(f"answer-{at}"):
            remark = form.get(f"remark-{at}") or None
            given.append(Given(at, word(Answer, answer, "an answer"), remark))
        elif form.get(f"remark-{at}"):
            raise NotPossible(f"Checkpoint {at} has a remark and no answer: say whether it is fine.")
    occasion = word(Occasion, form.get("occasion"), "the occasion")
    version = form.get("version")
    return InspectionSlip(
        client_id=request_id(form),
        item=item.tag,
        occasion=occasion,
        answers=tuple(given),
        inspected_on=day(form.get("on"), site.today(now)),
        all_fine=form.get("all_fine") == "yes",
        task=form.get("task") or None,
        note=form.get("note") or None,
        shots=shots,
        checklist_version=whole(version, "the version of the checklist") if version else None,
    )


def _said(done: Inspected) -> str:
    told = [f"Inspection {done.number} of {show_tag(done.tag)}, {done.occasion}: {done.result}."]
    if done.fulfilled:
        told.append(f"{spoken(done.fulfilled)} is done.")
    if done.held:
        told.append("It is on hold: it stays in until somebody releases it with evidence.")
    return " ".join(told)
