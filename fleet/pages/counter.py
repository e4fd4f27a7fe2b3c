"""The counter: what was scanned and whether it may go out, and the whole kit handed out in one go."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.loans import issue, issued_before
from fleet.desk.undoing import issue_of, undo_issue
from fleet.lists.loan_lines import lines_of_loan
from fleet.measures.times import show_moment, zone
from fleet.pages.basket import BACK, COUNTER, MOST, Basket, read_basket
from fleet.pages.drawing import draw
from fleet.pages.finding import own_sites
from fleet.pages.guard import Form, Guard, Typed, go, status_of
from fleet.pages.judging import lay
from fleet.pages.reading import Number, request_id
from fleet.refusals import NotFound, NotPossible, Refusal
from fleet.rules.undoing import BY_MISTAKE, UNDO_FOR

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.loan_lines import LoanLine
    from fleet.pages.judging import Laid


class Counter:
    """What goes out."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/counter", self.show, methods=["GET"], response_model=None)
        router.add_api_route("/counter/issue", self.hand_out, methods=["POST"], response_model=None)
        router.add_api_route("/counter/loans/{loan}", self.show_loan, methods=["GET"], response_model=None)
        router.add_api_route("/counter/loans/{loan}/undo", self.undo, methods=["POST"], response_model=None)
        return router

    def show(self, request: Request) -> Response:
        who, params = self._guard.sure(request), request.query_params
        basket = read_basket(COUNTER, lambda name: params.get(name, ""), params.getlist)
        with self._guard.look() as (db, now):
            laid = lay(db, who, basket, now)
        return self._page(request, who, laid)

    def _page(
        self, request: Request, who: Visitor, laid: Laid, status: int = 200, error: str = "", **more: object
    ) -> Response:
        said = " ".join(filter(None, (error, *laid.errors))) or None
        basket, tags = laid.basket, tuple(dict.fromkeys((*laid.reserved, *laid.basket.going)))[:MOST]
        told = {
            "laid": laid,
            "basket": basket.hidden,
            "load": replace(basket, job=laid.job.code if laid.job else "", going=tags),
            "other": replace(basket, way=BACK),
            "error": said,
        } | more
        return draw(request, self._room, "counter.html", who, status, **told)

    def hand_out(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        basket = read_basket(COUNTER, form.get, form.all)
        if form.get("look"):
            return go(_looked_again(basket, form).address)
        with self._guard.look() as (db, now):
            laid = lay(db, who, basket, now)
            slip = laid.slip and replace(laid.slip, client_id=request_id(form))
            before = issued_before(db, slip) if slip else None
        try:
            if before is None:
                _check_complete(laid, form)
            with self._guard.act(who) as (db, by, now):
                loan = issue(db, slip, by=by, now=now).loan if slip else 0
        except Refusal as refusal:
            status = status_of(refusal)
            return self._page(request, who, laid, status, str(refusal), typed=form)
        waiting = replace(laid.basket, way=BACK, to="", job="", back="", going=())
        return go(_receipt(loan, waiting))

    def show_loan(self, request: Request, loan: Number) -> Response:
        who, params = self._guard.sure(request), request.query_params
        waiting = read_basket(BACK, lambda _name: "", params.getlist)
        with self._guard.look() as (db, now):
            lines = self._own_lines(db, who, loan)
        deed, first = issue_of(lines[0]), lines[0]
        told = {
            "lines": lines,
            "first": first,
            "undone": all(line.note == BY_MISTAKE for line in lines),
            "undo_until": show_moment(deed.at + UNDO_FOR, zone(first.time_zone)),
            "can_undo": deed.may_undo(who.person_id, now) and not any(line.returned_at for line in lines),
            "out": [line.tag for line in lines if not line.returned_at],
            "waiting": waiting,
        }
        return draw(request, self._room, "handed_out.html", who, 200, **told)

    def undo(self, request: Request, loan: Number, form: Typed) -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, _now):
            self._own_lines(db, who, loan)
        with self._guard.act(who) as (db, by, now):
            undo_issue(db, loan, client_id=request_id(form), by=by, now=now)
        return go(f"/counter/loans/{loan}")

    def _own_lines(self, db: Connection, who: Visitor, loan: int) -> Sequence[LoanLine]:
        lines = lines_of_loan(db, loan)
        if lines[0].site not in {site.code for site in own_sites(db, who)}:
            raise NotFound(f"There is no loan {loan} at a site of yours.")
        return lines


def _looked_again(basket: Basket, form: Form) -> Basket:
    """With another job the day to be back is that job's, unless somebody chose one."""
    another = form.get("job") != form.get("of") and form.get("back") == form.get("was")
    return replace(basket, back="") if another else basket


def _check_complete(laid: Laid, form: Form) -> None:
    """Refuse while something is missing, or when it stands otherwise than it was shown."""
    if laid.errors:
        raise NotPossible("Nothing was handed out.")
    if not laid.judged:
        raise NotPossible("Nothing lies on the counter yet. Scan what is to go out.")
    if laid.holder is None:
        raise NotPossible("Nothing was handed out: scan the badge of whoever takes it, or type the name.")
    if laid.job is None:
        raise NotPossible("Nothing was handed out: choose the job that it is for.")
    if laid.seen != form.get("seen"):
        raise NotPossible(
            "Nothing was handed out: it stands otherwise now than it was shown. Look at it below, and hand "
            "it out if it is right."
        )


def _receipt(loan: int, waiting: Basket) -> str:
    found = waiting.address.partition("?")[2]
    return f"/counter/loans/{loan}" + (f"?{found}" if found else "")
