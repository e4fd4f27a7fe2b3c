"""What is out with people, what is away at laboratories and workshops; sending away and taking back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.parts import Kind
from fleet.desk.away import SendSlip, send_away, take_from_away
from fleet.lists.away import awaited_trip, away, open_trip
from fleet.lists.calibrations import agreed_before, subject_of
from fleet.lists.items import item_facts
from fleet.lists.out import out
from fleet.measures.tags import show_tag
from fleet.measures.times import read_day, show_day
from fleet.pages.drawing import draw
from fleet.pages.finding import own_sites, site_among
from fleet.pages.guard import Guard, Typed
from fleet.pages.on_item import OnItem
from fleet.pages.reading import figure, request_id, word
from fleet.rules.calibrations import DecisionRule
from fleet.rules.certificates import default_tolerance
from fleet.rules.evidence import Errand

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.desk.away import Sent
    from fleet.lists.items import ItemLine
    from fleet.lists.sites import SiteLine
    from fleet.pages.guard import Form
    from fleet.rules.people import Actor

MOST_ROWS = 100


class OutAndAway(OnItem):
    """Two lists, and the forms about being away."""

    def __init__(self, guard: Guard) -> None:
        super().__init__(guard)
        self._send = ("items/send.html", _told_of_sending)
        self._back = ("items/back.html", _told_of_trip)

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        for way, answer, method in (
            ("/out", self.show_out, "GET"),
            ("/away", self.show_away, "GET"),
            ("/items/{tag}/send", self.show_send, "GET"),
            ("/items/{tag}/send", self.send, "POST"),
            ("/items/{tag}/calibrate", self.show_calibrate, "GET"),
            ("/items/{tag}/back", self.show_back, "GET"),
            ("/items/{tag}/back", self.take_back, "POST"),
        ):
            router.add_api_route(way, answer, methods=[method], response_model=None)
        return router

    def show_out(self, request: Request, site: str = "") -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, now):
            chosen = own_sites(db, who)
            where = site_among(chosen, who, site)
            found = out(db, where, now=now)
        said = {"sites": chosen, "site": where, "found": found[:MOST_ROWS], "count": len(found)}
        late = sum(line.days_late > 0 for line in found)
        return draw(request, self._room, "items/out.html", who, 200, late=late, **said)

    def show_away(self, request: Request, site: str = "") -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, now):
            chosen = own_sites(db, who)
            where = site_among(chosen, who, site)
            found = away(db, where, now=now)
        said = {"sites": chosen, "site": where, "found": found[:MOST_ROWS], "count": len(found)}
        return draw(request, self._room, "items/away.html", who, 200, **said)

    def show_send(self, request: Request, tag: str, errand: str = "") -> Response:
        who = self._guard.sure(request)
        return self.show(request, who, tag, self._send, errand=errand if errand in set(Errand) else "")

    def show_calibrate(self, request: Request, tag: str, task: str = "") -> Response:
        """Where a calibration that is due goes on: sent away, taken back, or its certificate taken in."""
        who = self._guard.sure(request)
        return self.show(request, who, tag, ("items/calibrate.html", _told_of_trip), task=task[:80])

    def send(self, request: Request, tag: str, form: Typed) -> Response:
        who = self._guard.sure(request)

        def act(db: Connection, item: ItemLine, _site: SiteLine, by: Actor, now: datetime) -> str:
            sent = send_away(db, _slip(item, form), by=by, now=now)
            kept = item_facts(db, [item.id], now=now)[item.id].kept
            told = [
                f"It is reserved for {one.job} from {show_day(one.first_day)}: tell the planner."
                for one in kept
            ]
            return " ".join((_said(sent), *told))

        return self.act(request, who, tag, form, self._send, act)

    def show_back(self, request: Request, tag: str) -> Response:
        return self.show(request, self._guard.sure(request), tag, self._back)

    def take_back(self, request: Request, tag: str, form: Typed) -> Response:
        who = self._guard.sure(request)

        def act(db: Connection, item: ItemLine, _site: SiteLine, by: Actor, now: datetime) -> str:
            back = take_from_away(db, item.tag, by=by, now=now)
            said = f"{show_tag(back.tag)} is back from {back.sent_to} after {back.days_away} days."
            return f"{said} Its certificate is still to come." if back.certificate_missing else said

        return self.act(request, who, tag, form, self._back, act)


def _told_of_sending(db: Connection, item: ItemLine, _site: SiteLine, _now: datetime) -> dict[str, object]:
    """How its certificate was judged the last time, to begin with."""
    before = agreed_before(db, item)
    own = item.kind in (Kind.WRENCH, Kind.GAUGE)
    tolerance = (
        before.tolerance_percent if before else (default_tolerance(subject_of(db, item)) if own else None)
    )
    return {
        "errand": "",
        "errands": [one.value for one in Errand],
        "rules": [one.value for one in DecisionRule],
        "rule": before.rule.value if before else "",
        "tolerance": f"{tolerance:g}" if tolerance else "",
        "of": "of the chart's torque" if item.kind == Kind.WRENCH else "of the span",
        "wrench": item.kind == Kind.WRENCH,
    }


def _told_of_trip(db: Connection, item: ItemLine, site: SiteLine, now: datetime) -> dict[str, object]:
    return {
        "trip": open_trip(db, item.id),
        "awaited": awaited_trip(db, item.id),
        "today": site.today(now),
    }


def _slip(item: ItemLine, form: Form) -> SendSlip:
    errand = word(Errand, form.get("errand"), "why it is sent")
    judged = errand is Errand.CALIBRATION
    rule, wanted = form.get("rule"), form.get("wanted")
    return SendSlip(
        request_id(form),
        item.tag,
        form.get("to"),
        errand,
        word(DecisionRule, rule, "a decision rule") if judged and rule else None,
        figure(form.get("tolerance"), "the tolerance") if judged else None,
        (form.get("gauge") or None) if judged else None,
        read_day(wanted) if wanted else None,
        form.get("note") or None,
    )


def _said(sent: Sent) -> str:
    back_by = f", wanted back {show_day(sent.wanted_on)}" if sent.wanted_on else ""
    said = f"{show_tag(sent.tag)} is away at {sent.sent_to} for {sent.errand}{back_by}."
    if not sent.decision_rule:
        return said
    paired = f", paired with gauge {show_tag(sent.paired_gauge)}" if sent.paired_gauge else ""
    judged = f"by {sent.decision_rule}, ±{sent.tolerance_percent:g} %{paired}"
    return f"{said} Its certificate will be judged {judged}."
