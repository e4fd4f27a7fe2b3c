"""The form by which a safety officer lets one overdue item out for one job."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.holds import ConcessionSlip, grant_concession
from fleet.lists.concessions import concessions
from fleet.lists.items import item_facts
from fleet.lists.jobs import jobs
from fleet.lists.people import people
from fleet.measures.tags import show_tag
from fleet.measures.times import show_moment, zone
from fleet.pages.finding import own_job
from fleet.pages.guard import Form, Typed
from fleet.pages.on_item import OnItem
from fleet.pages.reading import whole, word
from fleet.rules.concessions import LONGEST_HOURS
from fleet.rules.conditions import ConcessionReason
from fleet.rules.due import is_overdue
from fleet.rules.upkeep import Stop

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.people import Actor


class Conceding(OnItem):
    """One form; what it grants stands on the page of the concessions."""

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/items/{tag}/concession", self.show_form, methods=["GET"], response_model=None)
        router.add_api_route("/items/{tag}/concession", self.grant, methods=["POST"], response_model=None)
        return router

    def show_form(self, request: Request, tag: str, job: str = "") -> Response:
        who = self._guard.sure(request)
        return self.show(request, who, tag, ("items/concession.html", _told), job=job[:80])

    def grant(self, request: Request, tag: str, form: Typed) -> Response:
        who = self._guard.confirmed(request)

        def act(db: Connection, item: ItemLine, site: SiteLine, by: Actor, now: datetime) -> str:
            slip = _slip(item, form)
            own_job(db, who, slip.job)
            ends_at = _granted_already(db, slip, site, item, by, now)
            if ends_at is None:
                ends_at = grant_concession(db, slip, by=by, now=now).ends_at
            until = show_moment(ends_at, zone(site.time_zone))
            said = (
                f"{show_tag(item.tag)} may go out for {slip.job} with its {slip.task} overdue, until {until}."
            )
            return f"{said} It will stand in this week's letter."

        return self.act(request, who, tag, form, ("items/concession.html", _told), act)


def _told(db: Connection, item: ItemLine, site: SiteLine, now: datetime) -> dict[str, object]:
    """The overdue tasks that can be conceded, the jobs to come, and who may have asked."""
    today = site.today(now)
    dues = item_facts(db, [item.id], now=now)[item.id].dues
    overdue = [one for one in dues if is_overdue(one.due_on, one.use_left, today)]
    return {
        "tasks": [one.task for one in overdue if one.stop == Stop.SOFT],
        "hard": [one.task for one in overdue if one.stop != Stop.SOFT],
        "jobs": [(one.code, f"{one.code}, {one.name}") for one in jobs(db, site=site.code, since=now)],
        "job": "",
        "people": [
            (one.badge, one.name)
            for one in people(db)
            if one.active and any(role.endswith(f" at {site.code}") for role in one.roles)
        ],
        "reasons": [one.value for one in ConcessionReason],
        "longest": LONGEST_HOURS,
    }


def _slip(item: ItemLine, form: Form) -> ConcessionSlip:
    return ConcessionSlip(
        item.tag,
        form.get("task"),
        form.get("job"),
        form.get("asked_by"),
        word(ConcessionReason, form.get("code"), "why it cannot wait").value,
        form.get("reason"),
        whole(form.get("hours") or str(LONGEST_HOURS), "the hours"),
    )


def _granted_already(  # The slip, where, of which item, by whom and when.
    db: Connection, slip: ConcessionSlip, site: SiteLine, item: ItemLine, by: Actor, now: datetime
) -> datetime | None:
    """Sent twice, it acts once: the same words of the same person are one concession."""
    said = " ".join(slip.reason.split())
    for line in concessions(db, site, now=now):
        asked = (item.tag, slip.task.casefold(), slip.job.casefold(), said, by.name)
        known = (line.tag, line.task.casefold(), line.job.casefold(), line.reason, line.granted_by)
        if line.in_force(now) and known == asked:
            return line.ends_at
    return None
