"""Certificates: those that wait for a decision, one with its points and its drift, accepting and refusing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.parts import Kind
from fleet.desk.acceptance import accept, refuse
from fleet.lists.calibrations import certificates, files, find_certificate, points, undecided
from fleet.lists.drift import drift
from fleet.measures.quantities import Kind as Measured
from fleet.measures.quantities import convert
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.pages.drawing import draw
from fleet.pages.finding import own_item, own_sites, site_among
from fleet.pages.guard import Guard, Typed, go, status_of
from fleet.pages.on_item import is_sure_of, theirs
from fleet.pages.photographs import as_download, own_file
from fleet.pages.pictures import picture_of_drift
from fleet.pages.reading import Number, units_of
from fleet.refusals import NotFound, Refusal

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.desk.acceptance import Decided
    from fleet.lists.access import Visitor
    from fleet.lists.calibrations import PointLine
    from fleet.lists.items import ItemLine
    from fleet.lists.sites import SiteLine
    from fleet.pages.guard import Form
    from fleet.rules.people import Actor

MOST_ROWS = 100
_ENDINGS = {"application/pdf": "pdf", "application/xml": "xml", "text/csv": "csv", "image/jpeg": "jpg"}


class Certificates:
    """The list, the page of one, and what is decided about it."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        for way, answer, method in (
            ("/certificates", self.show_list, "GET"),
            ("/certificates/{number}", self.show_one, "GET"),
            ("/certificates/{number}/files/{digest}", self.show_file, "GET"),
            ("/certificates/{number}/accept", self.accept, "POST"),
            ("/certificates/{number}/refuse", self.refuse, "POST"),
        ):
            router.add_api_route(way, answer, methods=[method], response_model=None)
        return router

    def show_list(self, request: Request, site: str = "", item: str = "") -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, _now):
            chosen, of = own_sites(db, who), None
            where = site_among(chosen, who, site)
            if item:
                of, where = own_item(db, who, item)
            found = certificates(db, of) if of else undecided(db, where.code)
        said = {"sites": chosen, "site": where, "of": of, "found": found[:MOST_ROWS], "count": len(found)}
        return draw(request, self._room, "items/certificates.html", who, 200, **said)

    def show_one(self, request: Request, number: Number) -> Response:
        return self._page(request, self._guard.sure(request), number, 200)

    def _page(self, request: Request, who: Visitor, number: int, status: int, **more: object) -> Response:
        with self._guard.look() as (db, now):
            line = find_certificate(db, number)
            item, site = theirs(db, who, line.tag, f"certificate {number}")
            said = _told(db, item, site, number) | {"line": line, "is_sure": is_sure_of(who, now)}
        return draw(request, self._room, "items/certificate.html", who, status, **(said | more))

    def show_file(self, request: Request, number: Number, digest: str) -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, _now):
            theirs(db, who, find_certificate(db, number).tag, f"certificate {number}")
            known = {file.sha256 for file in files(db, number)}
        if digest not in known:
            raise NotFound("This certificate has no such file.")
        found = own_file(self._guard, who, digest)
        return as_download(found, f"certificate-{number}.{_ENDINGS.get(found.media_type, 'png')}")

    def accept(self, request: Request, number: Number, form: Typed) -> Response:
        who = self._guard.confirmed(request)
        note = form.get("note") or None
        return self._decide(
            request, who, number, form, lambda db, by, now: accept(db, number, note, by=by, now=now)
        )

    def refuse(self, request: Request, number: Number, form: Typed) -> Response:
        who = self._guard.sure(request)
        reason = form.get("reason")
        return self._decide(
            request, who, number, form, lambda db, by, now: refuse(db, number, reason, by=by, now=now)
        )

    def _decide(  # Who asks for what about which certificate.
        self,
        request: Request,
        who: Visitor,
        number: int,
        form: Form,
        act: Callable[[Connection, Actor, datetime], Decided],
    ) -> Response:
        try:
            with self._guard.act(who) as (db, by, now):
                theirs(db, who, find_certificate(db, number).tag, f"certificate {number}")
                decided = act(db, by, now)
        except Refusal as refusal:
            return self._page(request, who, number, status_of(refusal), error=str(refusal), typed=form)
        return go(f"/certificates/{number}", _said(decided))


def _told(db: Connection, item: ItemLine, site: SiteLine, number: int) -> dict[str, object]:
    """Its points in words and figures, its files, and how the item drifted."""
    wrench, found = item.kind == Kind.WRENCH, drift(db, item)
    return {
        "item": item,
        "site": site,
        "wrench": wrench,
        "points": [_row(point, site, wrench=wrench) for point in points(db, number)],
        "files": files(db, number),
        "drift": found,
        "picture": picture_of_drift(found, site),
        "units": units_of(site),
    }


def _row(point: PointLine, site: SiteLine, *, wrench: bool) -> tuple[str, ...]:
    """Stage, pressure, what was found, what it should be, error, allowed, uncertainty, verdict."""
    kind, unit = (Measured.TORQUE, site.torque_unit) if wrench else (Measured.PRESSURE, site.pressure_unit)

    def figure(value: float, signs: str) -> str:
        return f"{convert(value, kind, unit):{signs}} {unit}"

    if wrench:
        error = f"{100 * point.error / point.reference_si:+.2f} %"
        allowed = f"±{100 * point.tolerance / point.reference_si:.4g} %"
    else:
        error, allowed = figure(point.error, "+,.4g"), f"±{figure(point.tolerance, ',.4g')}"
    expanded = "none" if point.expanded is None else figure(point.expanded, ",.4g")
    should = figure(point.reference_si, ",.5g")
    return (
        point.stage, point.at_written, point.found_written, should, error, allowed, expanded, point.result
    )  # fmt: skip


def _said(decided: Decided) -> str:
    """What was decided, and what goes by it from now on."""
    said = f"Certificate {decided.number} of {show_tag(decided.tag)} is {decided.standing}"
    if decided.standing != "accepted":
        return f"{said}: it counts for nothing."
    clocks = (
        show_day(decided.due_on) if decided.due_on else "",
        f"at {decided.due_cycles:,} cycles" if decided.due_cycles else "",
    )
    told = [f"{said} ({decided.result}). Next {decided.task}: {' or '.join(one for one in clocks if one)}."]
    if decided.charted:
        told.append(f"Its own chart now runs from {decided.charted[0]} to {decided.charted[1]}.")
    if decided.charted and decided.holder:
        told.append(f"It is out with {decided.holder}, who goes by the old chart: tell them.")
    if decided.on_hold:
        told.append("It is still on hold.")
    return " ".join(told)
