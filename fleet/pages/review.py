"""What a safety officer decides: what is overdue and where it is, certificates, and proposed intervals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.parts import Kind
from fleet.desk.intervals import decline, take
from fleet.lists.away import away
from fleet.lists.concessions import concessions
from fleet.lists.due import due
from fleet.lists.due_words import say_when
from fleet.lists.intervals import proposals
from fleet.lists.undecided import undecided
from fleet.measures.times import show_day, show_moment, zone
from fleet.pages.asked import Paged, page_asked
from fleet.pages.drawing import draw
from fleet.pages.finding import own_item, own_site, own_sites
from fleet.pages.guard import Guard, Typed, go, status_of
from fleet.pages.next_steps import step_for_task
from fleet.pages.reading import Number
from fleet.pages.signing import is_asked_again
from fleet.refusals import NotFound, Refusal
from fleet.rules.upkeep import CountsFrom, Stop

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.concessions import ConcessionLine
    from fleet.lists.due import DueLine
    from fleet.lists.intervals import ProposalLine
    from fleet.lists.sites import SiteLine

AT_A_TIME = 100
OUT, IN = "out", "in"


@dataclass(frozen=True, slots=True)
class Decision:
    """One overdue task: since when, where the item is, what was decided already, what can be."""

    line: DueLine
    since: str
    decided: str
    ways: tuple[tuple[str, str], ...]


class Review:
    """Three lists to decide from."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/review", self.show_overdue, methods=["GET"], response_model=None)
        router.add_api_route(
            "/review/certificates", self.show_certificates, methods=["GET"], response_model=None
        )
        router.add_api_route("/review/intervals", self.show_intervals, methods=["GET"], response_model=None)
        router.add_api_route(
            "/review/intervals/{number}", self.decide_interval, methods=["POST"], response_model=None
        )
        return router

    def show_overdue(
        self, request: Request, site: str = "", kind: str = "", where: str = "", page: str = ""
    ) -> Response:
        who = self._guard.sure(request)
        asked = kind if kind in tuple(Kind) else ""
        with self._guard.look() as (db, now):
            chosen = own_site(db, who, site)
            found = [one for one in _overdue(db, chosen, now) if not asked or one.line.kind == asked]
            sites = own_sites(db, who)
        out = [one for one in found if one.line.holder]
        inside = [one for one in found if not one.line.holder]
        shown = Paged(page_asked(page), AT_A_TIME)
        told = {
            "sites": sites,
            "site": chosen,
            "kinds": [one.value for one in Kind],
            "kind": asked,
            "where": where if where in (OUT, IN) else "",
            "out": out,
            "inside": shown.cut(inside[shown.skip : shown.skip + shown.one_more]),
            "count": len(inside),
            "leaf": shown,
            "today": chosen.today(now),
        }
        return draw(request, self._room, "review.html", who, 200, **told)

    def show_certificates(self, request: Request, site: str = "") -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, _now):
            chosen = own_site(db, who, site)
            told = {"sites": own_sites(db, who), "site": chosen, "found": undecided(db, chosen)}
        return draw(request, self._room, "review_certificates.html", who, 200, **told)

    def show_intervals(self, request: Request, site: str = "") -> Response:
        return self._intervals(request, self._guard.sure(request), site)

    def _intervals(
        self, request: Request, who: Visitor, site: str, refused: Refusal | None = None, **said: object
    ) -> Response:
        status = status_of(refused) if refused else 200
        with self._guard.look() as (db, now):
            chosen = own_site(db, who, site)
            found = [line for line in proposals(db) if _concerns(db, who, line, chosen)]
            # A form that was refused is shown again by itself: what was typed belongs to no other.
            found = [line for line in found if said.get("only") in (None, line.id)]
            told = {"sites": own_sites(db, who), "site": chosen, "found": found, "only": None}
            told["prove"] = is_asked_again(who, now)
        return draw(request, self._room, "review_intervals.html", who, status, **(told | said))

    def decide_interval(self, request: Request, number: Number, form: Typed) -> Response:
        who = self._guard.confirmed(request)
        act = take if form.get("choice") == "take" else decline
        with self._guard.look() as (db, _now):
            site = own_site(db, who, form.get("site"))
            if not any(
                line.id == number and _concerns(db, who, line, site) for line in proposals(db, decided=True)
            ):
                raise NotFound("There is no such proposal for a site of yours.")
        try:
            with self._guard.act(who) as (db, by, now):
                line = act(db, number, form.get("reason"), by=by, now=now)
        except Refusal as refusal:
            said = {"only": number, "error": str(refusal), "typed": form}
            return self._intervals(request, who, site.code, refusal, **said)
        return go(f"/review/intervals?site={site.code}", f"Proposal {number} is {line.choice}.")


def _overdue(db: Connection, site: SiteLine, now: datetime) -> list[Decision]:
    """Everything overdue at the site with what was decided about it; what is out comes first."""
    today = site.today(now)
    waived = {(one.tag, one.task): one for one in concessions(db, site, now=now) if one.in_force(now)}
    gone = {one.tag: f"sent to {one.sent_to} on {show_day(one.sent_on)}" for one in away(db, site, now=now)}
    found = [
        _decision(line, waived.get((line.tag, line.task)), gone.get(line.tag), site, today)
        for line in due(db, site.id, until=today, today=today)
        if line.overdue(today)
    ]
    return sorted(found, key=lambda one: one.line.holder is None)


def _decision(
    line: DueLine, waiver: ConcessionLine | None, gone: str | None, site: SiteLine, today: date
) -> Decision:
    decided = []
    if waiver:
        until = show_moment(waiver.ends_at, zone(site.time_zone))
        decided.append(f"concession for {waiver.job} until {until}, granted by {waiver.granted_by}")
    if line.on_hold:
        decided.append("on hold: it is to come back and stay in" if line.holder else "on hold: it stays in")
    if gone:
        decided.append(gone)
    if not line.holder and not decided:
        decided.append("stays in")
    ways = []
    if line.holder:
        ways.append(("Call it back", f"/items/{line.tag}"))
    elif not gone:
        step = step_for_task(line.tag, line.task, line.proved_by, line.counts_from)
        ways.append((step.words, step.way))
    if not line.on_hold:
        ways.append(("Put it on hold", f"/holds?site={site.code}&item={line.tag}"))
    if not waiver and line.stop == Stop.SOFT and line.counts_from != CountsFrom.ASSEMBLY and not line.on_hold:
        ways.append(("Concession", f"/items/{line.tag}/concession"))
    return Decision(line, say_when(line, today), "; ".join(decided), tuple(ways))


def _concerns(db: Connection, who: Visitor, line: ProposalLine, site: SiteLine) -> bool:
    """Whether a proposal is about an item of the site, or about a whole kind or model."""
    if line.tag is None:
        return True
    try:
        return own_item(db, who, line.tag)[1].id == site.id
    except NotFound:
        return False
