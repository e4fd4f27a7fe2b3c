"""Taking a certificate in: points typed, as CSV, or as a digital certificate in XML; and its scan."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.parts import Kind
from fleet.desk.calibrations import CertificateSlip, Received, take_in
from fleet.lists.away import awaited_trip
from fleet.lists.calibrations import agreed_before
from fleet.lists.tasks import tasks_of
from fleet.measures.tags import show_tag
from fleet.measures.times import read_day
from fleet.pages.finding import own_item
from fleet.pages.guard import Form, Guard, Uploaded, go
from fleet.pages.on_item import OnItem
from fleet.pages.photographs import shown_name
from fleet.pages.reading import figure, request_id, word
from fleet.refusals import Refusal
from fleet.rules.calibrations import DecisionRule
from fleet.rules.certificate_points import read_point
from fleet.rules.certificates import Certificate, Reading
from fleet.rules.evidence import Proof
from fleet.rules.received import check_scan, read_file
from fleet.rules.upkeep import CountsFrom

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.desk.calibrations import TakenIn
    from fleet.lists.items import ItemLine
    from fleet.lists.sites import SiteLine


class Certifying(OnItem):
    """One form."""

    def __init__(self, guard: Guard) -> None:
        super().__init__(guard)
        self._form = ("items/take_in.html", _told)

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/items/{tag}/certificate", self.show_form, methods=["GET"], response_model=None)
        router.add_api_route("/items/{tag}/certificate", self.take_in, methods=["POST"], response_model=None)
        return router

    def show_form(self, request: Request, tag: str, task: str = "") -> Response:
        return self.show(request, self._guard.sure(request), tag, self._form, task=task[:80])

    def take_in(self, request: Request, tag: str, form: Uploaded) -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, _now):
            item, _site = own_item(db, who, tag)
        try:
            # Read before the transaction begins: a large file keeps nobody waiting.
            slip = _slip(item, form)
            with self._guard.act(who) as (db, by, now):
                taken = take_in(db, slip, by=by, now=now)
        except Refusal as refusal:
            return self.again(request, who, tag, form, self._form, refusal)
        return go(f"/certificates/{taken.number}", _said(taken))


def _told(db: Connection, item: ItemLine, _site: SiteLine, _now: datetime) -> dict[str, object]:
    trip, before = awaited_trip(db, item.id), agreed_before(db, item)
    chosen = trip is not None and trip.decision_rule is not None
    return {
        "tasks": [
            task.name
            for task in tasks_of(db, item.id)
            if task.counts_from != CountsFrom.ASSEMBLY and task.proved_by in (Proof.CALIBRATION, Proof.NOTE)
        ],
        "task": "",
        "trip": trip if chosen else None,
        "before": before,
        "rules": [one.value for one in DecisionRule],
        "wrench": item.kind == Kind.WRENCH,
        "judged": item.kind in (Kind.WRENCH, Kind.GAUGE),
    }


def _slip(item: ItemLine, form: Form) -> CertificateSlip:
    digital: Certificate | None = None
    readings: tuple[Reading, ...] = ()
    received = [
        Received(scan.content, check_scan(scan.content), shown_name(scan))
        for scan in form.files_of("scan")[:1]
    ]
    for file in form.files_of("file")[:1]:
        media_type, digital, readings = read_file(file.content, item.kind)
        received.append(Received(file.content, media_type, shown_name(file)))
    typed = tuple(read_point(row, item.kind) for row in form.get("points").splitlines() if row.strip())
    on, rule = form.get("on"), form.get("rule")
    return CertificateSlip(
        request_id(form),
        item.tag,
        Certificate(
            form.get("number") or None,
            form.get("laboratory") or None,
            form.get("accreditation") or None,
            read_day(on) if on else None,
            form.get("serial") or None,
            figure(form.get("factor"), "the coverage factor"),
            (*readings, *typed),
        ),
        digital,
        form.get("reference"),
        form.get("traceability"),
        form.get("task") or None,
        word(DecisionRule, rule, "a decision rule") if rule else None,
        figure(form.get("tolerance"), "the tolerance"),
        form.get("gauge") or None,
        form.get("note") or None,
        tuple(received),
    )


def _said(taken: TakenIn) -> str:
    """What it came to, and what follows."""
    told = [f"Certificate {taken.certificate} of {show_tag(taken.tag)} is taken in as number {taken.number}."]
    told += taken.sentences
    if taken.points and taken.as_found is None:
        told.append("Nothing is stated as found: what it was before is not known.")
    if taken.hold:
        told.append(f"It is on hold now, and impact review {taken.review} is open.")
    return " ".join(told)
