"""The lists, to read: one look each, and nothing is changed by it."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from fleet.lists.away import away
from fleet.lists.concessions import concessions
from fleet.lists.due import due
from fleet.lists.duty import duty
from fleet.lists.holds import holds
from fleet.lists.jobs import jobs, joints
from fleet.lists.models import chart_points, find_model, models, ports
from fleet.lists.out import out
from fleet.lists.people import people
from fleet.lists.reservations import reservations
from fleet.lists.weeks import weeks
from fleet.measures.times import read_day
from fleet.pages.api import shapes as told
from fleet.pages.api.asked import DayAsked, InPath, KindAsked, SiteAsked, TextAsked
from fleet.pages.api.own import job_of, site_of
from fleet.pages.api.shapes import lines_of, tell
from fleet.pages.finding import own_sites
from fleet.rules.tokens import Scope
from fleet.rules.weeks import make_period

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.lists.sites import SiteLine
    from fleet.pages.api.bearer import Asking, Gate
    from fleet.pages.api.shapes import Shape

DAYS_AHEAD = 28


class Lists:
    """What stands at a site, and what is on record about models, jobs and people."""

    def __init__(self, gate: Gate) -> None:
        self._gate = gate

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(tags=["lists"])

        def add(path: str, answer: Callable[..., Response], shape: type[Shape]) -> None:
            router.add_api_route(path, answer, methods=["GET"], response_model=shape)

        add("/sites", self.sites, lines_of(told.Site))
        add("/due", self.due, lines_of(told.Due))
        add("/out", self.out, lines_of(told.Out))
        add("/away", self.away, lines_of(told.Away))
        add("/holds", self.holds, lines_of(told.Hold))
        add("/concessions", self.concessions, lines_of(told.Concession))
        add("/jobs", self.jobs, lines_of(told.Job))
        add("/jobs/{job}", self.job, told.JobSheet)
        add("/reservations", self.reservations, lines_of(told.Reservation))
        add("/weeks", self.weeks, told.WeeksSheet)
        add("/models", self.models, lines_of(told.Model))
        add("/models/{model}", self.model, told.ModelSheet)
        add("/people", self.people, lines_of(told.Person))
        add("/duty", self.duty, lines_of(told.DutyState))
        return router

    def _of_site(
        self, request: Request, site: str, shape: type[Shape], question: Callable[[Asking, SiteLine], object]
    ) -> Response:
        with self._gate.look(request, Scope.READ) as asking:
            found = question(asking, site_of(asking, site))
        return tell(lines_of(shape), {"lines": found})

    def sites(self, request: Request) -> Response:
        """The sites where the token's person has a role."""
        with self._gate.look(request, Scope.READ) as asking:
            found = own_sites(asking.db, asking.who)
        return tell(lines_of(told.Site), {"lines": found})

    def due(
        self,
        request: Request,
        site: SiteAsked = "",
        days: Annotated[int, Query(ge=0, le=366, description="How far ahead.")] = DAYS_AHEAD,
    ) -> Response:
        """What is overdue, then what falls due."""

        def question(asking: Asking, where: SiteLine) -> object:
            today = where.today(asking.now)
            return due(asking.db, where.id, until=today + timedelta(days=days), today=today)

        return self._of_site(request, site, told.Due, question)

    def out(self, request: Request, site: SiteAsked = "") -> Response:
        """What is out, the latest first."""
        return self._of_site(request, site, told.Out, lambda one, where: out(one.db, where, now=one.now))

    def away(self, request: Request, site: SiteAsked = "") -> Response:
        """What is at a laboratory or workshop."""
        return self._of_site(request, site, told.Away, lambda one, where: away(one.db, where, now=one.now))

    def holds(self, request: Request, site: SiteAsked = "") -> Response:
        """Open holds, the oldest first."""
        return self._of_site(request, site, told.Hold, lambda one, where: holds(one.db, where, now=one.now))

    def concessions(self, request: Request, site: SiteAsked = "") -> Response:
        """Concessions in force, and those of the last seven days."""
        return self._of_site(
            request, site, told.Concession, lambda one, where: concessions(one.db, where, now=one.now)
        )

    def jobs(self, request: Request, site: SiteAsked = "") -> Response:
        """Jobs that have not ended, by start."""
        return self._of_site(
            request, site, told.Job, lambda one, where: jobs(one.db, site=where.code, since=one.now)
        )

    def job(self, request: Request, job: InPath) -> Response:
        """One job with its joints."""
        with self._gate.look(request, Scope.READ) as asking:
            found, _site = job_of(asking, job)
            sheet = {"job": found, "joints": joints(asking.db, found)}
        return tell(told.JobSheet, sheet)

    def reservations(self, request: Request, site: SiteAsked = "", job: TextAsked = None) -> Response:
        """What is kept for which job; of one job when it is named."""

        def question(asking: Asking, where: SiteLine) -> object:
            only = job_of(asking, job)[0].code if job else None
            return reservations(asking.db, since=asking.now, site=where.code, job=only)

        return self._of_site(request, site, told.Reservation, question)

    def weeks(
        self,
        request: Request,
        site: SiteAsked = "",
        first: DayAsked = None,
        many: Annotated[int, Query(alias="weeks", ge=1, le=53)] = 8,
        kind: KindAsked = None,
    ) -> Response:
        """Week by week, what stands against each item, and joints that are short of a wrench."""
        with self._gate.look(request, Scope.READ) as asking:
            where = site_of(asking, site)
            period = make_period(read_day(first) if first else where.today(asking.now), many)
            found = weeks(asking.db, where, period, kind=kind, now=asking.now)
        days = {"first_day": found.period.first_day, "last_day": found.period.last_day}
        sheet = {"site": found.site, "today": found.today, "items": found.items, "shortages": found.shortages}
        return tell(told.WeeksSheet, sheet | days)

    def models(self, request: Request, kind: KindAsked = None) -> Response:
        """Every model on record."""
        with self._gate.look(request, Scope.READ) as asking:
            site_of(asking)
            found = models(asking.db, kind=kind)
        return tell(lines_of(told.Model), {"lines": found})

    def model(self, request: Request, model: InPath) -> Response:
        """One model with its ports and its chart."""
        with self._gate.look(request, Scope.READ) as asking:
            site_of(asking)
            found = find_model(asking.db, model)
            chart = [point for point in chart_points(asking.db, found) if point.tag is None]
            sheet = {"model": found, "ports": ports(asking.db, found), "chart": chart}
        return tell(told.ModelSheet, sheet)

    def people(self, request: Request, site: SiteAsked = "") -> Response:
        """Who has a role at the site."""

        def question(asking: Asking, where: SiteLine) -> object:
            at = f" at {where.code}"
            found = [
                (one, [role.removesuffix(at) for role in one.roles if role.endswith(at)])
                for one in people(asking.db)
                if one.active
            ]
            return [{"badge": one.badge, "name": one.name, "roles": roles} for one, roles in found if roles]

        return self._of_site(request, site, told.Person, question)

    def duty(self, request: Request) -> Response:
        """Whether all that must not stop still goes on."""
        with self._gate.look(request, Scope.READ) as asking:
            site_of(asking)
            found = duty(asking.db, self._gate.room.settings.mail, clock=self._gate.room.clock())
        return tell(lines_of(told.DutyState), {"lines": found})
