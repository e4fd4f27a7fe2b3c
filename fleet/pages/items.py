"""The register: items by kind and by part of a tag, serial number or model; and one item with all of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.findings import Severity
from fleet.bolting.parts import Kind
from fleet.lists.calibrations import certificates
from fleet.lists.drift import drift
from fleet.lists.holds import holds
from fleet.lists.inspections import inspections
from fleet.lists.item_loans import loans_of
from fleet.lists.items import ItemLine, item_facts, items_page
from fleet.lists.limits import LimitLine, limits
from fleet.lists.models import chart_points, find_model
from fleet.lists.photographs import photographs_of
from fleet.lists.proof_tests import proof_tests
from fleet.lists.repairs import repairs
from fleet.lists.tasks import tasks_of
from fleet.lists.upkeep import upkeep_done
from fleet.lists.usage import usage
from fleet.measures.tags import show_tag
from fleet.measures.times import show_hours
from fleet.pages.drawing import draw
from fleet.pages.finding import own_item, own_sites, site_among
from fleet.pages.guard import Guard
from fleet.pages.next_steps import step_for, step_for_task
from fleet.pages.pictures import picture_of_chart, picture_of_drift
from fleet.pages.plates import plate_of, points_of
from fleet.pages.reading import units_of
from fleet.rules.concessions import OF_THE_MOMENT
from fleet.rules.hoses import storage_ends_on
from fleet.rules.limits import Clocks
from fleet.rules.loans import ItemFacts, Verdict, Wish, judge

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine
    from fleet.pages.next_steps import Step

MOST_ROWS = 100
# How much of its history a page shows; the evidence pack has all of it.
MOST_OF_EACH = 25


class Items:
    """The list and the page of an item; nothing is changed here."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/items", self.show_items, methods=["GET"], response_model=None)
        router.add_api_route("/items/{tag}", self.show_item, methods=["GET"], response_model=None)
        return router

    def show_items(  # What is asked for, all of it in the address.
        self, request: Request, site: str = "", kind: str = "", about: str = "", after: str = ""
    ) -> Response:
        who = self._guard.sure(request)
        asked = about.strip()[:80]
        with self._guard.look() as (db, now):
            chosen = own_sites(db, who)
            where = site_among(chosen, who, site)
            of_kind = kind if kind in set(Kind) else None
            found = items_page(
                db, where.code, kind=of_kind, about=asked or None, after=after, most=MOST_ROWS + 1
            )
            shown = found[:MOST_ROWS]
            facts = item_facts(db, [item.id for item in shown], now=now) if shown else {}
        today = where.today(now)
        rows = [(item, whereabouts(item), today_of(facts[item.id], today)[0]) for item in shown]
        return draw(
            request,
            self._room,
            "items/register.html",
            who,
            sites=chosen,
            site=where,
            kinds=list(Kind),
            kind=of_kind or "",
            about=asked,
            after=after,
            rows=rows,
            next=shown[-1].tag if len(found) > MOST_ROWS else "",
        )

    def show_item(self, request: Request, tag: str) -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, now):
            item, site = own_item(db, who, tag)
            told = _today(db, item, site, now) | _plate(db, item, site) | _history(db, item)
        return draw(request, self._room, "items/item.html", who, 200, item=item, site=site, **told)


def _today(db: Connection, item: ItemLine, site: SiteLine, now: datetime) -> dict[str, object]:
    """What may be done with it today, every reason with what to do, and what is due."""
    facts, today = item_facts(db, [item.id], now=now)[item.id], site.today(now)
    steps: dict[str, Step] = {
        task.name: step_for_task(item.tag, task.name, task.proved_by, task.counts_from)
        for task in tasks_of(db, item.id)
    }
    said, verdict = today_of(facts, today)
    return {
        "today": today,
        "facts": facts,
        "said_today": said,
        "goes_out": verdict.goes_out,
        "findings": [(one, step_for(item.tag, one, steps)) for one in verdict.findings],
        "conceivable": _is_conceivable(verdict),
        "steps": steps,
        "percent": _percent,
        "hours": show_hours,
        "clocks": clocks_of,
        "where": whereabouts(item),
        "holds": [line for line in holds(db, site, now=now) if line.tag == item.tag],
        "limits": limits(db, tag=item.tag),
        "age": _age(facts, today),
        "stored_until": _stored_until(facts),
    }


def _plate(db: Connection, item: ItemLine, site: SiteLine) -> dict[str, object]:
    """Its type plate, and the chart that it is set by."""
    model, found = find_model(db, item.model), drift(db, item)
    points = [point for point in chart_points(db, model) if point.tag in (None, item.tag)]
    return {
        "plate": plate_of(model, units_of(site)),
        "points": points_of(points, site),
        "chart": picture_of_chart(points, f"Pressure-torque chart of {show_tag(item.tag)}", site),
        "drift": found,
        "drift_picture": picture_of_drift(found, site),
        "units": units_of(site),
    }


def _history(db: Connection, item: ItemLine) -> dict[str, object]:
    """The newest of everything that is on record about it."""
    most = MOST_OF_EACH
    return {
        "loans": loans_of(db, item, most=most),
        "uses": usage(db, item, most=most),
        "done": upkeep_done(db, item, most=most),
        "inspections": inspections(db, item.id)[:most],
        "certificates": certificates(db, item)[:most],
        "proof_tests": proof_tests(db, item.id)[:most],
        "repairs": repairs(db, item)[:most],
        "photographs": photographs_of(db, item.id, most=most),
        "most": most,
    }


def whereabouts(item: ItemLine) -> str:
    """Where an item is, in one short phrase."""
    if item.retired_on:
        return "retired"
    if item.holder:
        return f"out: {item.holder}, {item.job}"
    return f"{item.shelf or 'in'}{', on hold' if item.on_hold else ''}"


def today_of(facts: ItemFacts, today: date) -> tuple[str, Verdict]:
    """May go out, stays in, or may go out for the job that reserved it only; and the verdict."""
    verdict = judge(facts, Wish("", facts.site, today, today))
    if verdict.goes_out:
        return "may go out", verdict
    if facts.out:
        return "is out", verdict
    stops = {one.code for one in verdict.findings if one.severity is not Severity.NOTE}
    jobs = " or ".join(kept.job for kept in facts.kept if kept.first_day <= today <= kept.last_day)
    return f"may go out for {jobs} only" if stops == {"reserved"} else "stays in", verdict


def _is_conceivable(verdict: Verdict) -> bool:
    """Whether a concession could let it out: what is overdue can be lifted, and nothing else stops it."""
    hard = [one for one in verdict.findings if one.severity is Severity.HARD]
    return any(one.code == "overdue" and one.severity is Severity.SOFT for one in verdict.findings) and all(
        one.code in OF_THE_MOMENT for one in hard
    )


def _percent(share: float) -> str:
    return f"{max(share, 0):.0%}"


def clocks_of(line: LimitLine) -> str:
    """The clocks of a limit as a person says them."""
    return str(Clocks(line.every_months, line.every_cycles, line.every_minutes))


def _age(facts: ItemFacts, today: date) -> str:
    """How old an assembly is, in whole years and months."""
    made = facts.assembled_on
    if made is None:
        return ""
    months = (today.year - made.year) * 12 + today.month - made.month - (today.day < made.day)
    years, rest = divmod(max(months, 0), 12)
    return f"{years} years {rest} months"


def _stored_until(facts: ItemFacts) -> date | None:
    """Until when a hose that was never out may still go out for the first time."""
    if facts.kind != Kind.HOSE or facts.assembled_on is None or facts.first_out_on:
        return None
    return storage_ends_on(facts.assembled_on, facts.storage_months)
