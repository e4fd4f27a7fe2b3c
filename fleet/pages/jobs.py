"""Jobs for the planner: what runs and is to come, and one job with all that stands for and against it."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.figures import BothUnits
from fleet.desk.breakouts import record_breakout, withdraw_breakout
from fleet.ledgers.breakouts import Told
from fleet.lists.breakouts import breakouts_of, find_breakout
from fleet.lists.calendars import job_calendar
from fleet.lists.job_board import job_cards, joint_cards
from fleet.lists.jobs import joints
from fleet.lists.reservations import reservations, warnings
from fleet.pages.asked import HOW, NOT_SENT, Paged, Tried, day_behind, number_of, page_asked, tried
from fleet.pages.drawing import draw
from fleet.pages.finding import own_item, own_job, own_site, own_sites
from fleet.pages.guard import Guard, Typed, go
from fleet.pages.reading import request_id
from fleet.papers.calendars import calendar_file
from fleet.refusals import NotFound, Refusal

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.breakouts import BreakoutLine
    from fleet.lists.jobs import JobLine

# On a page: jobs in a row each, joints with their checked kits.
JOBS, JOINTS = 50, 25


class Jobs:
    """The list of jobs, the page of one, and what was measured at its joints."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        for path, page in (
            ("/plan", self.show_jobs),
            # Asked for and not part of the way: codes and marks hold whatever people write, slashes too.
            ("/job", self.show_job),
            ("/job/calendar.ics", self.calendar),
            ("/job/withdraw", self.show_withdrawal),
        ):
            router.add_api_route(path, page, methods=["GET"], response_model=None)
        router.add_api_route("/job/breakouts", self.record, methods=["POST"], response_model=None)
        router.add_api_route("/job/withdraw", self.withdraw, methods=["POST"], response_model=None)
        return router

    def show_jobs(self, request: Request, site: str = "", past: str = "", page: str = "") -> Response:
        who = self._guard.sure(request)
        over, paged = past == "yes", Paged(page_asked(page), JOBS)
        with self._guard.look() as (db, now):
            place = own_site(db, who, site)
            cards = paged.cut(
                job_cards(db, place, now, past=over, skip=paged.skip, most=paged.one_more),
            )
            told = [] if over else warnings(db, place, now, swaps=False)
            sites = own_sites(db, who)
        warned = Counter(line.job for line in told)
        asked = {"site": place.code} | ({"past": "yes"} if over else {})
        return draw(
            request,
            self._room,
            "plan.html",
            who,
            site=place,
            sites=sites,
            past=over,
            jobs=cards,
            warned=warned,
            paged=paged,
            asked=asked,
        )

    def show_job(self, request: Request, job: str = "", page: str = "") -> Response:
        who = self._guard.sure(request)
        return self._job(request, who, job, page)

    def _job(  # The page of a job, also shown again after a refusal.
        self, request: Request, who: Visitor, code: str, page: str = "", again: Tried = NOT_SENT
    ) -> Response:
        paged = Paged(page_asked(page), JOINTS)
        with self._guard.look() as (db, now):
            work, site = own_job(db, who, code)
            planned = joints(db, work)
            some = paged.cut(planned[paged.skip : paged.skip + paged.one_more])
            units = BothUnits(site.pressure_unit, site.torque_unit)
            cards = joint_cards(db, site, work, some, units, now=now)
            whole = [
                line
                for line in reservations(db, since=now, site=site.code, job=work.code)
                if line.joint_id is None
            ]
            told = warnings(db, site, now, job=work.code)
            measured = sorted(breakouts_of(db, work), key=lambda line: -line.entry)
            over = work.ends_at <= now
        return draw(
            request,
            self._room,
            "job.html",
            who,
            again.status,
            job=work,
            site=site,
            units=units,
            target=lambda joint: _in_both(joint.torque_written, units.needed(joint.torque_nm)),
            planned=planned,
            cards=cards,
            whole=whole,
            warnings=told,
            measured=measured,
            paged=paged,
            asked={"job": work.code},
            over=over,
            how=HOW,
            **again.told,
        )

    def record(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        code = form.get("job")
        try:
            with self._guard.act(who) as (db, by, now):
                work, site = own_job(db, who, code)
                told = Told(
                    request_id(form),
                    form.get("joint"),
                    form.get("reading"),
                    own_item(db, who, form.get("item"))[0].tag if form.get("item") else None,
                    day_behind(form.get("on"), site.today(now)),
                    form.get("note") or None,
                )
                kept = record_breakout(db, work.code, told, by=by, now=now)
        except Refusal as refusal:
            return self._job(request, who, code, again=tried(form, refusal))
        before = " It had been recorded before." if kept.again else ""
        said = (
            f"Breakout {kept.entry} at {kept.joint}: {kept.torque_written}, {kept.factor:.2f} × the target."
        )
        return go(way_of_job(work.code), said=said + before)

    def show_withdrawal(self, request: Request, job: str = "", entry: str = "") -> Response:
        return self._withdrawal(request, self._guard.sure(request), job, number_of(entry))

    def withdraw(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        code, entry = form.get("job"), number_of(form.get("entry"))
        try:
            with self._guard.act(who) as (db, by, now):
                line, work = _own_breakout(db, who, code, entry)
                reason = form.get("reason")
                kept = withdraw_breakout(db, line.entry, reason, client_id=request_id(form), by=by, now=now)
        except Refusal as refusal:
            return self._withdrawal(request, who, code, entry, again=tried(form, refusal))
        return go(
            way_of_job(work.code),
            said=f"Entry {kept.entry} withdraws breakout {entry}, which counts for nothing now.",
        )

    def _withdrawal(
        self, request: Request, who: Visitor, code: str, entry: int, again: Tried = NOT_SENT
    ) -> Response:
        with self._guard.look() as (db, _now):
            line, work = _own_breakout(db, who, code, entry)
        return draw(
            request, self._room, "withdrawal.html", who, again.status, line=line, job=work, **again.told
        )

    def calendar(self, request: Request, job: str = "") -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, now):
            work, site = own_job(db, who, job)
            made = calendar_file(job_calendar(db, site, work, now=now))
        return download(made, f"job-{work.code}.ics", "text/calendar; charset=utf-8")


def _in_both(written: str, in_units: str) -> str:
    """A torque as it was written, and in the units that are read here where those are others."""
    return in_units if in_units.startswith(written) else f"{written}, {in_units}"


def _own_breakout(db: Connection, who: Visitor, code: str, entry: int) -> tuple[BreakoutLine, JobLine]:
    work, _site = own_job(db, who, code)
    line = find_breakout(db, entry)
    if line.site != work.site:
        raise NotFound(f"There is no breakout {entry} at {work.site}.")
    return line, work


def way_of_job(code: str) -> str:
    """The page of a job."""
    return f"/job?job={quote(code, safe='')}"


def download(content: bytes, name: str, media_type: str) -> Response:
    """A file to keep, under a name that no header can trip over."""
    plain = "".join(sign if (sign.isalnum() or sign in ".-") and sign.isascii() else "-" for sign in name)
    headers = {"Content-Disposition": f'attachment; filename="{plain}"'}
    return Response(content, media_type=media_type, headers=headers)
