"""Impact reviews: what a failed calibration may have touched, decided joint by joint, and closed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.figures import BothUnits
from fleet.desk.reviews import close, decide
from fleet.lists.reviews import find_review, reviews
from fleet.measures.times import show_day
from fleet.pages.asked import number_of
from fleet.pages.drawing import draw
from fleet.pages.finding import own_site, own_sites
from fleet.pages.guard import Guard, Typed, go, status_of
from fleet.pages.reading import Number, word
from fleet.pages.signing import is_asked_again
from fleet.refusals import NotFound, NotPossible, Refusal
from fleet.rules.evidence import Ruling

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.reviews import ReviewLine, TouchedLine
    from fleet.lists.sites import SiteLine

CAUTION = (
    "The torque error is that of the tool or gauge alone, at the set pressure that the chart gives for the "
    "target torque; the scatter of the joint comes on top. A competent person decides."
)


class Impact:
    """The list, one review, deciding and closing it."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/impact", self.show_list, methods=["GET"], response_model=None)
        router.add_api_route("/impact/{number}", self.show_review, methods=["GET"], response_model=None)
        router.add_api_route(
            "/impact/{number}/decide", self.decide_lines, methods=["POST"], response_model=None
        )
        router.add_api_route(
            "/impact/{number}/close", self.close_review, methods=["POST"], response_model=None
        )
        return router

    def show_list(self, request: Request, site: str = "") -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, now):
            chosen = own_site(db, who, site)
            found = reviews(db, chosen, closed=True)
            told = {
                "sites": own_sites(db, who),
                "site": chosen,
                "open": [line for line in found if line.closed_at is None],
                "closed": sorted(
                    (line for line in found if line.closed_at), key=lambda line: line.id, reverse=True
                ),
                "today": chosen.today(now),
            }
        return draw(request, self._room, "impact.html", who, 200, **told)

    def show_review(self, request: Request, number: Number) -> Response:
        return self._page(request, self._guard.sure(request), number)

    def _page(
        self,
        request: Request,
        who: Visitor,
        number: int,
        refused: Refusal | None = None,
        **said: object,
    ) -> Response:
        with self._guard.look() as (db, now):
            line, found, site = _own_review(db, who, number)
            today, prove = site.today(now), is_asked_again(who, now)
        units = BothUnits(site.pressure_unit, site.torque_unit)
        told = {
            "review": line,
            "site": site,
            "rows": [_row(one, units) for one in found],
            "undecided": [one.number for one in found if one.ruling is None],
            "overdue": line.overdue(today),
            "rulings": [ruling.value for ruling in Ruling],
            "caution": CAUTION,
            "chosen": (),
            "prove": prove,
            "error": str(refused) if refused else None,
        }
        status = status_of(refused) if refused else 200
        return draw(request, self._room, "impact_review.html", who, status, **(told | said))

    def decide_lines(self, request: Request, number: Number, form: Typed) -> Response:
        who = self._guard.confirmed(request)
        chosen = [number_of(text) for text in form.all("line")]
        try:
            with self._guard.act(who) as (db, by, now):
                _own_review(db, who, number)
                if not chosen:
                    raise NotPossible("Tick the lines that this is about, one or more.")
                ruling = word(Ruling, form.get("ruling"), "what is decided")
                done = decide(db, number, chosen, ruling, form.get("reason"), by=by, now=now)
        except Refusal as refusal:
            return self._page(request, who, number, refusal, typed=form, chosen=chosen)
        which = ", ".join(map(str, done.lines))
        rest = f"{done.undecided} still to decide." if done.undecided else "All are decided: close it now."
        return go(f"/impact/{number}", f"Line {which}: {done.ruling}. {rest}")

    def close_review(self, request: Request, number: Number, form: Typed) -> Response:
        who = self._guard.confirmed(request)
        try:
            with self._guard.act(who) as (db, by, now):
                _own_review(db, who, number)
                close(db, number, form.get("summary"), by=by, now=now)
        except Refusal as refusal:
            return self._page(request, who, number, refusal, typed=form)
        return go(f"/impact/{number}", f"Review {number} is closed.")


def _own_review(db: Connection, who: Visitor, number: int) -> tuple[ReviewLine, list[TouchedLine], SiteLine]:
    """A review of a site of theirs, its lines, and that site."""
    line, found = find_review(db, number)
    for site in own_sites(db, who):
        if site.code == line.site:
            return line, found, site
    raise NotFound(f"There is no impact review {number} at a site of yours.")


def _row(line: TouchedLine, units: BothUnits) -> dict[str, object]:
    """What is shown of one touched joint; figures in both unit systems."""
    days = show_day(line.first_on)
    if line.last_on != line.first_on:
        days += f" to {show_day(line.last_on)}"
    error = f"{line.error_percent:+.1f} %" if line.error_percent is not None else "not known"
    return {
        "line": line,
        "loan": f"{line.loan or ''} {line.borrower or ''}".strip() or "no loan",
        "days": days,
        "target": units.target(line.target_torque_nm),
        "set_at": units.reading(line.pressure_mpa) or "not known",
        "error": error,
        "allowed": f"±{line.tolerance_percent:g} %" if line.tolerance_percent is not None else "",
    }
