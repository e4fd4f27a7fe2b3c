"""Proof tests and repairs of an item."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.parts import Kind
from fleet.desk.proof_tests import ProofTestSlip, record_proof_test
from fleet.desk.repairs import RepairSlip, record_repair
from fleet.lists.models import find_model
from fleet.lists.tasks import tasks_of
from fleet.measures.tags import show_tag
from fleet.pages.guard import Form, Guard, Typed, Uploaded
from fleet.pages.on_item import OnItem
from fleet.pages.photographs import photographs_in
from fleet.pages.reading import day, rating_both, request_id, units_of, whole, word
from fleet.refusals import NotPossible, Refusal
from fleet.rules.cautions import FOR_A_PROOF_TEST
from fleet.rules.evidence import Proof, Work
from fleet.rules.upkeep import spoken

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.desk.proof_tests import Proved
    from fleet.lists.items import ItemLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.people import Actor


class Proving(OnItem):
    """Two forms."""

    def __init__(self, guard: Guard) -> None:
        super().__init__(guard)
        self._test = ("items/proof_test.html", _told_of_test)
        self._repair = ("items/repair.html", _told_of_repair)

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        for way, answer, method in (
            ("/items/{tag}/proof-test", self.show_test, "GET"),
            ("/items/{tag}/proof-test", self.test, "POST"),
            ("/items/{tag}/repair", self.show_repair, "GET"),
            ("/items/{tag}/repair", self.repair, "POST"),
        ):
            router.add_api_route(way, answer, methods=[method], response_model=None)
        return router

    def show_test(self, request: Request, tag: str, task: str = "") -> Response:
        return self.show(request, self._guard.sure(request), tag, self._test, task=task[:80])

    def test(self, request: Request, tag: str, form: Typed) -> Response:
        who = self._guard.sure(request)

        def act(db: Connection, item: ItemLine, site: SiteLine, by: Actor, now: datetime) -> str:
            return _said(record_proof_test(db, _slip(item, form, site.today(now)), by=by, now=now))

        return self.act(request, who, tag, form, self._test, act)

    def show_repair(self, request: Request, tag: str) -> Response:
        return self.show(request, self._guard.sure(request), tag, self._repair)

    def repair(self, request: Request, tag: str, form: Uploaded) -> Response:
        who = self._guard.sure(request)
        try:
            shots = photographs_in(form, "photographs")
        except Refusal as refusal:
            return self.again(request, who, tag, form, self._repair, refusal)

        def act(db: Connection, item: ItemLine, site: SiteLine, by: Actor, now: datetime) -> str:
            work = word(Work, form.get("work"), "what was done")
            on = day(form.get("on"), site.today(now))
            slip = RepairSlip(request_id(form), item.tag, work, form.get("description"), on, shots)
            done = record_repair(db, slip, by=by, now=now)
            told = [f"Repair {done.number} of {show_tag(done.tag)} is on record ({done.work})."]
            told += [f"{spoken(task)} must be done again: it stays in until then." for task in done.due_again]
            if done.on_hold:
                told.append("It is still on hold.")
            return " ".join(told)

        return self.act(request, who, tag, form, self._repair, act)


def _told_of_test(db: Connection, item: ItemLine, site: SiteLine, now: datetime) -> dict[str, object]:
    model, units = find_model(db, item.model), units_of(site)
    return {
        "tasks": [task.name for task in tasks_of(db, item.id) if task.proved_by == Proof.PROOF_TEST],
        "task": "",
        "hose": item.kind == Kind.HOSE,
        "two_ratings": model.mwp_retract_mpa not in (None, model.mwp_advance_mpa),
        "rated": rating_both(model.mwp_advance_written, model.mwp_advance_mpa, units),
        "rated_retract": rating_both(model.mwp_retract_written, model.mwp_retract_mpa, units),
        "today": site.today(now),
        "cautions": FOR_A_PROOF_TEST,
    }


def _told_of_repair(_db: Connection, _item: ItemLine, site: SiteLine, now: datetime) -> dict[str, object]:
    return {"works": [one.value for one in Work], "today": site.today(now)}


def _slip(item: ItemLine, form: Form, today: date) -> ProofTestSlip:
    came_out = form.get("tight")
    if came_out not in ("tight", "leaked"):
        raise NotPossible("Say whether it stayed tight.")
    return ProofTestSlip(
        client_id=request_id(form),
        item=item.tag,
        pressure=form.get("pressure"),
        held_seconds=whole(form.get("held"), "the seconds that it was held"),
        tight=came_out == "tight",
        gauge=form.get("gauge"),
        tested_on=day(form.get("on"), today),
        retract_pressure=form.get("retract") or None,
        required=form.get("required") or None,
        task=form.get("task") or None,
        note=form.get("note") or None,
    )


def _said(proved: Proved) -> str:
    result = "passed" if proved.passed else "NOT PASSED"
    told = [f"Proof test {proved.number} of {show_tag(proved.tag)}: {result}.", *proved.reasons]
    if proved.fulfilled:
        told.append(f"{spoken(proved.fulfilled)} is done.")
    if proved.held:
        told.append("It is on hold, and stays in until a later test is passed and it is released.")
    return " ".join(told)
