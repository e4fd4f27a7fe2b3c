"""Plans of a period: made by the solver while the page is loaded again, then accepted or dropped."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.plans import accept, drop
from fleet.lists.plan_facts import gather
from fleet.lists.plans import find_plan, plans
from fleet.lists.sites import find_site
from fleet.measures.times import local_day, show_day, start_of_day, zone
from fleet.pages.asked import HOW, NOT_SENT, Paged, Tried, day_ahead, number_of, page_asked, tried
from fleet.pages.drawing import draw
from fleet.pages.finding import own_site, own_sites
from fleet.pages.guard import Guard, Typed, go
from fleet.pages.reading import Number, request_id
from fleet.pages.solving import Order, Searches
from fleet.planning.facts import Limits
from fleet.planning.loading import NOT_INSTALLED, installed, load
from fleet.refusals import NotFound, NotPossible, Refusal
from fleet.rules.people import require
from fleet.rules.register import Role

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.plans import PlanLine, PlanSheet
    from fleet.pages.guard import Form
    from fleet.rules.plans import SitePlan

ROWS = 50
SECONDS = ((15, "15 seconds"), (60, "a minute"), (180, "3 minutes"), (600, "10 minutes"))
GRIDS = (
    (1, "every hour"),
    (2, "every 2 hours"),
    (4, "every 4 hours"),
    (8, "every 8 hours"),
    (24, "every day"),
)
# A year of a busy site is more than one wants to look at; a slip of a year's figure is longer.
MOST_DAYS = 400
AIMS = {"works unserved": "joints unserved", "kits": "kits", "oversize": "N·m oversize"}


class Shutdowns:
    """The plans of a site, the search for one, and one plan."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room
        self._searches = Searches(guard.room)

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        for path, page in (
            ("/shutdowns", self.show),
            ("/shutdowns/running", self.show_running),
            ("/shutdowns/{number}", self.show_plan),
        ):
            router.add_api_route(path, page, methods=["GET"], response_model=None)
        for path, act in (
            ("/shutdowns", self.start),
            ("/shutdowns/stop", self.stop),
            ("/shutdowns/{number}/accept", self.accept),
            ("/shutdowns/{number}/drop", self.drop),
        ):
            router.add_api_route(path, act, methods=["POST"], response_model=None)
        return router

    def show(self, request: Request, site: str = "", page: str = "") -> Response:
        return self._page(request, self._guard.sure(request), site, page)

    def _page(
        self, request: Request, who: Visitor, asked: str, page: str = "", again: Tried = NOT_SENT
    ) -> Response:
        paged = Paged(page_asked(page), ROWS)
        with self._guard.look() as (db, _now):
            site, sites = own_site(db, who, asked), own_sites(db, who)
            made = [one for one in plans(db) if site.code in one.sites.split(", ")]
        made = made[paged.skip : paged.skip + paged.one_more]
        search = self._searches.of(site.code)
        seen = search.seen() if search and search.runs else None
        return draw(
            request,
            self._room,
            "shutdowns.html",
            who,
            again.status,
            site=site,
            sites=sites,
            made=[
                (one, _days(one, site.time_zone)) for one in paged.cut(made[paged.skip :][: paged.one_more])
            ],
            search=seen,
            missing=None if installed() else NOT_INSTALLED,
            seconds=SECONDS,
            grids=GRIDS,
            how=HOW,
            paged=paged,
            query={"site": site.code},
            **again.told,
        )

    def start(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        try:
            load()
            order = self._order(who, form)
            self._searches.start(order)
        except NotFound:
            raise
        except Refusal as refusal:
            return self._page(request, who, form.get("site"), again=tried(form, refusal))
        return go(f"/shutdowns/running?site={quote(order.ground.site.code, safe='')}")

    def _order(self, who: Visitor, form: Form) -> Order:
        seconds, hours = number_of(form.get("seconds")), number_of(form.get("grid"))
        with self._guard.look() as (db, now):
            # In the site's own units, not the visitor's: what is kept of a plan is read by others too.
            site = find_site(db, own_site(db, who, form.get("site")).code)
            require(who.actor, site.id, site.name, Role.PLANNER, Role.KEEPER)
            if seconds not in dict(SECONDS) or hours not in dict(GRIDS):
                raise NotPossible("Choose from the lists how long to search and how finely.")
            today, there = site.today(now), zone(site.time_zone)
            first, last = (day_ahead(form.get(name), today, today) for name in ("first", "last"))
            if not first <= last <= first + timedelta(days=MOST_DAYS - 1):
                raise NotPossible(f"The period must not end before it starts, nor {MOST_DAYS} days after it.")
            ground = gather(db, site, first, last, now=now)
        begins, ends = start_of_day(first, there), start_of_day(last + timedelta(days=1), there)
        limits = Limits(seconds=float(seconds), start_grid=timedelta(hours=hours))
        return Order(request_id(form), who.badge, who.name, ground, begins, ends, limits)

    def show_running(self, request: Request, site: str = "") -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, _now):
            place = own_site(db, who, site)
        search = self._searches.of(place.code)
        seen = search.seen() if search else None
        if seen and not seen.runs and seen.number is not None:
            return go(f"/shutdowns/{seen.number}")
        return draw(request, self._room, "searching.html", who, site=place, search=seen, aims=AIMS)

    def stop(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, _now):
            site = own_site(db, who, form.get("site"))
        require(who.actor, site.id, site.name, Role.PLANNER, Role.KEEPER)
        search = self._searches.of(site.code)
        if search:
            search.stop()
        return go(f"/shutdowns/running?site={quote(site.code, safe='')}")

    def show_plan(self, request: Request, number: Number) -> Response:
        return self._plan(request, self._guard.sure(request), number)

    def _plan(self, request: Request, who: Visitor, number: int, again: Tried = NOT_SENT) -> Response:
        with self._guard.look() as (db, _now):
            sheet, own = _own_plan(db, who, number)
        return draw(
            request,
            self._room,
            "shutdown.html",
            who,
            again.status,
            plan=sheet.line,
            own=own,
            others=[one.site for one in sheet.draft.sites if one not in own],
            grid=sheet.draft.grid_hours,
            days=_days(sheet.line, own[0].time_zone),
            aims=AIMS,
            **again.told,
        )

    def accept(self, request: Request, number: Number, form: Typed) -> Response:
        who = self._guard.sure(request)
        try:
            with self._guard.act(who) as (db, by, now):
                sheet, _own = _own_plan(db, who, number)
                if sheet.line.state == "accepted":
                    return go(f"/shutdowns/{number}", said=f"Plan {number} was accepted already.")
                done = accept(db, number, by=by, now=now)
        except NotFound:
            raise
        except Refusal as refusal:
            return self._plan(request, who, number, tried(form, refusal))
        joints = "1 joint" if done.joints == 1 else f"{done.joints} joints"
        return go(
            f"/shutdowns/{number}",
            said=f"Plan {number} is accepted: {done.items} items are reserved for {joints}.",
        )

    def drop(self, request: Request, number: Number, form: Typed) -> Response:
        who = self._guard.sure(request)
        try:
            with self._guard.act(who) as (db, by, now):
                sheet, _own = _own_plan(db, who, number)
                if sheet.line.state == "dropped":
                    return go(f"/shutdowns/{number}", said=f"Plan {number} was dropped already.")
                drop(db, number, form.get("reason"), by=by, now=now)
        except NotFound:
            raise
        except Refusal as refusal:
            return self._plan(request, who, number, tried(form, refusal))
        return go(f"/shutdowns/{number}", said=f"Plan {number} is dropped. It stays on record.")


def _own_plan(db: Connection, who: Visitor, number: int) -> tuple[PlanSheet, list[SitePlan]]:
    """A plan, and what in it is about sites of theirs; others' is not shown."""
    sheet = find_plan(db, number)
    codes = {site.code for site in own_sites(db, who)}
    own = [one for one in sheet.draft.sites if one.site in codes]
    if not own:
        raise NotFound(f"There is no plan {number} of a site of yours.")
    return sheet, own


def _days(line: PlanLine, time_zone: str) -> tuple[str, str]:
    """The first and last day of its period at a site."""
    there = zone(time_zone)
    last = local_day(line.ends_at - timedelta(microseconds=1), there)
    return show_day(local_day(line.starts_at, there)), show_day(last)
