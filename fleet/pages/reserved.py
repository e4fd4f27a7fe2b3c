"""What is reserved for which job: the list, and what changes one reservation."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.findings import Severity
from fleet.bolting.parts import Kind
from fleet.desk import reserved as desk
from fleet.desk.reservations import set_free
from fleet.desk.reserved import ChangeSlip
from fleet.lists.reservations import reservations, warnings
from fleet.lists.reserving import numbered
from fleet.measures.tags import show_tag
from fleet.measures.times import show_window, zone
from fleet.pages.asked import HOW, NOT_SENT, Paged, Tried, moment_ahead, number_of, page_asked, tried
from fleet.pages.drawing import draw
from fleet.pages.finding import own_item, own_job, own_site, own_sites
from fleet.pages.guard import Form, Guard, Typed, go
from fleet.pages.jobs import way_of_job
from fleet.pages.reading import request_id
from fleet.refusals import Refusal

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.desk.reserved import Changed
    from fleet.lists.access import Visitor
    from fleet.lists.reservations import ReservationLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.loans import Verdict

ROWS = 100
KINDS = [kind.value for kind in Kind]
SORTS = {
    "from": lambda line: (line.starts_at, line.job, line.tag),
    "to": lambda line: (line.ends_at, line.job, line.tag),
    "job": lambda line: (line.job.casefold(), line.starts_at, line.tag),
    "item": lambda line: (line.kind, line.model.casefold(), line.tag, line.starts_at),
}


class ReservedItems:
    """The list of reservations, and the page of one with its four forms."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/reserved", self.show, methods=["GET"], response_model=None)
        router.add_api_route("/reserved/change", self.show_one, methods=["GET"], response_model=None)
        for name, act in (
            ("swap", self.swap),
            ("extend", self.extend),
            ("split", self.split),
            ("free", self.free),
        ):
            router.add_api_route(f"/reserved/{name}", act, methods=["POST"], response_model=None)
        return router

    def show(  # What the list is narrowed by stands in its address.
        self,
        request: Request,
        site: str = "",
        job: str = "",
        item: str = "",
        kind: str = "",
        sort: str = "from",
        warned: str = "",
        page: str = "",
    ) -> Response:
        who = self._guard.sure(request)
        paged, by = Paged(page_asked(page), ROWS), SORTS.get(sort, SORTS["from"])
        again, told = NOT_SENT, []
        with self._guard.look() as (db, now):
            place, only, tag = own_site(db, who, site), "", ""
            if job:
                found, place = own_job(db, who, job)
                only = found.code
            try:
                tag = own_item(db, who, item)[0].tag if item else ""
            except Refusal as refusal:
                again = tried(Form(), refusal)
            lines = [] if again.sent else reservations(db, since=now, site=place.code, job=only or None)
            if warned == "yes" and not again.sent:
                told = warnings(db, place, now, job=only or None)
            sites = own_sites(db, who)
        chosen = sorted((one for one in lines if kind in ("", one.kind) and tag in ("", one.tag)), key=by)
        asked = {"site": place.code, "job": only, "item": item, "kind": kind, "sort": sort}
        return draw(
            request,
            self._room,
            "reserved.html",
            who,
            again.status,
            site=place,
            sites=sites,
            lines=paged.cut(chosen[paged.skip : paged.skip + paged.one_more]),
            count=len(chosen),
            warned=warned == "yes",
            warnings=[line for line in told if kind in ("", line.kind) and tag in ("", line.tag)],
            kinds=KINDS,
            sorts=(("from", "start"), ("to", "end"), ("job", "job"), ("item", "item")),
            paged=paged,
            asked=asked,
            query={name: value for name, value in asked.items() if value},
            **again.told,
        )

    def show_one(self, request: Request, number: str = "") -> Response:
        return self._one(request, self._guard.sure(request), number_of(number))

    def _one(self, request: Request, who: Visitor, number: int, again: Tried = NOT_SENT) -> Response:
        with self._guard.look() as (db, now):
            line, site, ended_at = own_reservation(db, who, number)
            against = [] if ended_at else warnings(db, site, now, job=line.job)
        when = show_window(line.starts_at, line.ends_at, zone(line.time_zone))
        told = [one for one in against if one.number == number]
        said = {"line": line, "site": site, "ended_at": ended_at, "when": when, "against": told, "how": HOW}
        over = line.ends_at <= now
        return draw(
            request, self._room, "reservation.html", who, again.status, **said, over=over, **again.told
        )

    def swap(self, request: Request, form: Typed) -> Response:
        return self._change(request, form, desk.swap)

    def extend(self, request: Request, form: Typed) -> Response:
        return self._change(request, form, desk.extend)

    def split(self, request: Request, form: Typed) -> Response:
        return self._change(request, form, desk.split)

    def _change(self, request: Request, form: Form, act: Callable[..., Changed]) -> Response:
        who, number = self._guard.sure(request), number_of(form.get("number"))
        try:
            with self._guard.act(who) as (db, by, now):
                line, site, _ended = own_reservation(db, who, number)
                done = act(db, _slip(db, who, form, line, site, now), by=by, now=now)
        except Refusal as refusal:
            return self._one(request, who, number, tried(form, refusal))
        when = " to ".join(show_window(done.starts_at, done.ends_at, zone(line.time_zone)))
        instead = f" in place of {show_tag(done.was)}" if done.was != done.tag else ""
        said = f"{show_tag(done.tag)} is reserved for {done.job}{instead}, {when}."
        return go(self._back(form, line), said=said + (to_see_to(done.verdict) if done.verdict else ""))

    def free(self, request: Request, form: Typed) -> Response:
        who, number = self._guard.sure(request), number_of(form.get("number"))
        try:
            with self._guard.act(who) as (db, by, now):
                line, _site, _ended = own_reservation(db, who, number)
                reason = form.get("reason")
                freed = set_free(db, line.tag, line.job, reason, number=number, by=by, now=now)
        except Refusal as refusal:
            return self._one(request, who, number, tried(form, refusal))
        return go(self._back(form, line), said=f"{show_tag(freed)} is no longer reserved for {line.job}.")

    def _back(self, form: Form, line: ReservationLine) -> str:
        if form.get("back") == "job":
            return way_of_job(line.job)
        return f"/reserved?{urlencode({'job': line.job})}"


def own_reservation(
    db: Connection, who: Visitor, number: int
) -> tuple[ReservationLine, SiteLine, datetime | None]:
    """A reservation of a job of a site of theirs, that site, and when it ended if it did."""
    line, ended_at = numbered(db, number)
    _job, site = own_job(db, who, line.job)
    return line, site, ended_at


def _slip(  # Whose form, about which reservation, and when.
    db: Connection, who: Visitor, form: Form, line: ReservationLine, site: SiteLine, now: datetime
) -> ChangeSlip:
    """What the form says; each act looks at what is its own."""
    named = form.get("instead")
    return ChangeSlip(
        request_id(form),
        line.tag,
        line.job,
        form.get("reason"),
        own_item(db, who, named)[0].tag if named else None,
        swap=form.get("another") == "yes",
        until=moment_ahead(form.get("until"), site, now, end=True),
        split_at=moment_ahead(form.get("at"), site, now),
        number=line.number,
    )


def to_see_to(*verdicts: Verdict) -> str:
    """What was found of what is reserved now, as sentences after the first."""
    said = [
        f" {show_tag(verdict.tag)}: {finding.sentence}"
        for verdict in verdicts
        for finding in verdict.findings
        if finding.severity is not Severity.NOTE
    ]
    return "".join(said)
