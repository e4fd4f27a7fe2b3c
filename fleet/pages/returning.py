"""Taking back: scan it and press one button; and undoing that a moment later."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.returns import take_back
from fleet.desk.undoing import return_of, undo_return
from fleet.lists.items import item_facts
from fleet.lists.loan_lines import LoanLine, find_line, used_on
from fleet.measures.tags import show_tag
from fleet.measures.times import show_moment, zone
from fleet.pages.basket import BACK, COUNTER, MOST, Basket, read_basket
from fleet.pages.coming_back import Coming, coming_back, slips
from fleet.pages.drawing import draw
from fleet.pages.finding import own_site, own_sites
from fleet.pages.guard import Guard, Typed, go, status_of
from fleet.pages.reading import request_id, whole
from fleet.refusals import NotFound, NotPossible, Refusal
from fleet.rules.conditions import Condition
from fleet.rules.undoing import BY_MISTAKE, UNDO_FOR
from fleet.rules.upkeep import spoken

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor


@dataclass(frozen=True, slots=True)
class Taken:
    """One line of a receipt: what stands on record now, whatever happened since."""

    line: LoanLine
    cycles: int
    minutes: int
    held: tuple[str, ...]
    due_by_use: tuple[str, ...]
    can_undo: bool


class Returning:
    """What comes back."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/back", self.show, methods=["GET"], response_model=None)
        router.add_api_route("/back", self.take, methods=["POST"], response_model=None)
        router.add_api_route("/back/done", self.show_done, methods=["GET"], response_model=None)
        router.add_api_route("/back/undo", self.undo, methods=["POST"], response_model=None)
        return router

    def show(self, request: Request) -> Response:
        who, params = self._guard.sure(request), request.query_params
        basket = read_basket(BACK, lambda name: params.get(name, ""), params.getlist)
        errors: list[str] = []
        with self._guard.look() as (db, now):
            own_site(db, who)
            loans = coming_back(db, who, basket, errors)
            today = {site.code: site.today(now) for site in own_sites(db, who)}
        gone = [line for coming in loans for line in coming.lines if line.returned_at]
        errors += [f"{show_tag(line.tag)} is not out: it came back already." for line in gone]
        return self._page(request, who, basket, loans, errors, today=today)

    def _page(  # What is shown, and what was wrong with it.
        self,
        request: Request,
        who: Visitor,
        basket: Basket,
        loans: list[Coming],
        errors: list[str],
        status: int = 200,
        **more: object,
    ) -> Response:
        loans = [still for loan in loans if (still := _still_out(loan))]
        coming = tuple(line.tag for loan in loans for line in loan.lines)
        basket = replace(basket, coming=coming)
        told = {
            "loans": loans,
            "some": len(coming),
            "on": basket,
            "basket": basket.hidden,
            "other": replace(basket, way=COUNTER),
            "conditions": [one.value for one in Condition],
            "error": " ".join(errors) or None,
        } | more
        return draw(request, self._room, "back.html", who, status, **told)

    def take(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        basket = read_basket(BACK, form.get, form.all)
        errors: list[str] = []
        with self._guard.look() as (db, now):
            own_site(db, who)
            loans = coming_back(db, who, basket, errors)
            today = {site.code: site.today(now) for site in own_sites(db, who)}
        try:
            if errors or not loans:
                raise NotPossible("Nothing was taken back. " + " ".join(errors or ["Scan what comes back."]))
            told = list(slips(form, request_id(form), loans))
            with self._guard.act(who) as (db, by, now):
                for slip in told:
                    take_back(db, slip, by=by, now=now)
        except Refusal as refusal:
            status = status_of(refusal)
            return self._page(request, who, basket, loans, [str(refusal)], status, today=today, typed=form)
        lines = [("line", str(line.line)) for coming in loans for line in coming.lines]
        waiting = replace(basket, way=COUNTER, coming=()).fields
        return go(f"/back/done?{urlencode([*lines, *waiting])}")

    def show_done(self, request: Request) -> Response:
        who, params = self._guard.sure(request), request.query_params
        basket = read_basket(COUNTER, lambda name: params.get(name, ""), params.getlist)
        with self._guard.look() as (db, now):
            own_site(db, who)
            taken = [_taken(db, who, line, now) for line in self._own_lines(db, who, params.getlist("line"))]
        back = [one for one in taken if one.line.returned_at]
        deeds = [deed for one in taken if one.can_undo and (deed := return_of(one.line))]
        first = min(deeds, key=lambda one: one.at) if deeds else None
        there = zone(taken[0].line.time_zone)
        told = {
            "taken": taken,
            "back": back,
            "held": [one for one in back if one.held],
            "undo_until": show_moment(first.at + UNDO_FOR, there) if first else "",
            "undoable": [one.line.line for one in taken if one.can_undo],
            "attention": Condition.ATTENTION.value,
            "mistake": BY_MISTAKE,
            "waiting": basket,
        }
        return draw(request, self._room, "taken_back.html", who, 200, **told)

    def undo(self, request: Request, form: Typed) -> Response:
        who, client_id = self._guard.sure(request), request_id(form)
        with self._guard.look() as (db, _now):
            own_site(db, who)
            lines = self._own_lines(db, who, form.all("line"))
        with self._guard.act(who) as (db, by, now):
            for line in lines:
                undo_return(db, line.line, client_id=f"{client_id}/{line.line}", by=by, now=now)
        return go(f"/back/done?{urlencode([('line', str(line.line)) for line in lines])}")

    def _own_lines(self, db: Connection, who: Visitor, asked: Iterable[str]) -> list[LoanLine]:
        """The lines of loans that are asked for by number, of sites of theirs only."""
        codes = {site.code for site in own_sites(db, who)}
        numbers = [whole(one, "the number of a return") for one in dict.fromkeys(asked)]
        found = [find_line(db, number) for number in numbers[:MOST]]
        if not found or any(line.site not in codes for line in found):
            raise NotFound("There is no such return at a site of yours.")
        return found


def _still_out(coming: Coming) -> Coming | None:
    left = tuple(line for line in coming.lines if not line.returned_at)
    return replace(coming, lines=left) if left else None


def _taken(db: Connection, who: Visitor, line: LoanLine, now: datetime) -> Taken:
    facts = item_facts(db, [line.item_id], now=now)[line.item_id]
    due = tuple(spoken(one.task) for one in facts.dues if one.use_left is not None and one.use_left <= 0)
    cycles, minutes = used_on(db, [line.line]).get(line.line, (0, 0))
    deed = return_of(line)
    can_undo = deed is not None and deed.may_undo(who.person_id, now) and line.note != BY_MISTAKE
    held = tuple(hold.reason for hold in facts.holds)
    return Taken(line, cycles, minutes, held, due, can_undo and not line.later)
