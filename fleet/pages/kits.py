"""Kits for a joint: which of the room do and why others do not, and whether named items are one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.figures import BothUnits
from fleet.desk.reservations import ReserveSlip, reserve
from fleet.lists.breakouts import measured_before
from fleet.lists.job_board import job_choices
from fleet.lists.jobs import find_joint, joints
from fleet.lists.joint_facts import joint_facts
from fleet.lists.kit_finding import KitQuestion, ask, find_kits
from fleet.lists.kits import check_kit, window_of
from fleet.lists.reservations import reservations, reserved_for
from fleet.measures.times import read_instant, show_window, write_instant, zone
from fleet.pages.asked import HOW, NOT_SENT, Tried, moment_ahead, tried
from fleet.pages.drawing import draw
from fleet.pages.finding import own_item, own_job, own_site, own_sites
from fleet.pages.guard import Form, Guard, Typed, go
from fleet.pages.jobs import way_of_job
from fleet.pages.reading import figure, request_id
from fleet.refusals import NotPossible, Refusal
from fleet.rules.cautions import FOR_A_KIT
from fleet.rules.kit_figures import kit_figures
from fleet.rules.sources import SOURCE_OF_KITS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.jobs import JobLine
    from fleet.lists.kit_answers import Asked, FoundKit, KitAnswer
    from fleet.lists.sites import SiteLine

USUAL_MARGIN = "10"
# Items of a kit, sockets and couplers included, and some to spare.
MOST_ITEMS = 30
_FOUND = (
    "Chart",
    "Set pressure",
    "Set on the gauge",
    "Measured before",
    "Loosening may ask",
    "The kit can give",
    "Cover",
)


@dataclass(frozen=True, slots=True)
class Question:
    """What the form says: a joint of a job, the margin, the window and how many answers, as typed."""

    job: str = ""
    joint: str = ""
    margin: str = USUAL_MARGIN
    start: str = ""
    end: str = ""
    site: str = ""


class Kits:
    """Find a kit, reserve one that was found, check named items."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/kits", self.show, methods=["GET"], response_model=None)
        router.add_api_route("/kits/reserve", self.keep, methods=["POST"], response_model=None)
        router.add_api_route("/kits/check", self.show_check, methods=["GET"], response_model=None)
        return router

    def show(self, request: Request) -> Response:
        asked = request.query_params
        names = ("job", "joint", "start", "end", "site")
        typed = {name: asked.get(name, "").strip() for name in names}
        question = Question(**typed, margin=asked.get("margin", "").strip() or USUAL_MARGIN)
        return self._page(request, self._guard.sure(request), question)

    def _page(self, request: Request, who: Visitor, question: Question, again: Tried = NOT_SENT) -> Response:
        """The form, and below it the answer; what cannot be answered is told above the form."""
        status, told = again.status, dict(again.told)
        answered: dict[str, object] = {"answer": None}
        with self._guard.look() as (db, now):
            work, site = _job_or_site(db, who, question)
            marks = [one.mark for one in joints(db, work)] if work else []
            choices = job_choices(db, site, now)
            if work and question.joint:
                try:
                    answered = _answer(db, work, site, question, now)
                except Refusal as refusal:
                    if not again.sent:
                        seen = tried(Form(), refusal)
                        status, told = seen.status, dict(seen.told)
            sites = own_sites(db, who)
        said: dict[str, object] = {"job": work, "site": site, "sites": sites, "jobs": choices}
        said |= {"marks": marks, "how": HOW, "question": question, "cautions": FOR_A_KIT}
        return draw(request, self._room, "kits.html", who, status, **said, **answered, **told)

    def keep(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        names = ("job", "joint", "margin", "start", "end")
        question = Question(**{name: form.get(name) for name in names})
        try:
            with self._guard.act(who) as (db, by, now):
                work, _site = own_job(db, who, question.job)
                tags = tuple(own_item(db, who, tag)[0].tag for tag in form.all("item")[:MOST_ITEMS])
                if not tags:
                    raise NotPossible("No item was chosen, so there is nothing to reserve.")
                begins, ends = (read_instant(form.get(name)) for name in ("begins", "ends"))
                slip = ReserveSlip(request_id(form), tags, work.code, question.joint, begins, ends)
                kept = reserve(db, slip, by=by, now=now)
        except Refusal as refusal:
            return self._page(request, who, question, tried(form, refusal))
        when = " to ".join(show_window(kept.starts_at, kept.ends_at, zone(work.time_zone)))
        count = "1 item is" if len(tags) == 1 else f"{len(tags)} items are"
        before = " They had been before." if kept.again else ""
        return go(
            way_of_job(work.code),
            said=f"{count} reserved for {question.joint} of {work.code}, {when}.{before}",
        )

    def show_check(self, request: Request, job: str = "", joint: str = "") -> Response:
        who = self._guard.sure(request)
        again, checked = NOT_SENT, dict[str, object](check=None)
        tags = " ".join(request.query_params.getlist("item")).split()
        with self._guard.look() as (db, now):
            work, site = _job_or_site(db, who, Question(job=job))
            marks = [one.mark for one in joints(db, work)] if work else []
            choices = job_choices(db, site, now)
            if work and joint and tags:
                try:
                    checked = _check(db, who, work, site, joint, tags, now)
                except Refusal as refusal:
                    again = tried(Form(), refusal)
        said: dict[str, object] = {"job": work, "site": site, "jobs": choices, "marks": marks}
        said |= {"joint": joint, "tags": tags, "cautions": FOR_A_KIT, "source": SOURCE_OF_KITS}
        return draw(request, self._room, "kit_check.html", who, again.status, **said, **checked, **again.told)


def _job_or_site(db: Connection, who: Visitor, question: Question) -> tuple[JobLine | None, SiteLine]:
    if question.job:
        return own_job(db, who, question.job)
    return None, own_site(db, who, question.site)


def _answer(
    db: Connection, work: JobLine, site: SiteLine, question: Question, now: datetime
) -> dict[str, object]:
    """What the search found, in the visitor's own units and the others."""
    margin = figure(question.margin, "the margin")
    begins = moment_ahead(question.start, site, now)
    ends = moment_ahead(question.end, site, now, end=True)
    asked = ask(
        db, KitQuestion(work.code, question.joint, 10.0 if margin is None else margin, begins, ends), now=now
    )
    units = BothUnits(site.pressure_unit, site.torque_unit)
    asked = replace(asked, site=site, window=replace(asked.window, units=units))
    answer = find_kits(db, asked)
    return {
        "answer": answer,
        "needed": units.needed(answer.needed_nm),
        "window_said": show_window(asked.window.starts_at, asked.window.ends_at, zone(site.time_zone)),
        "begins": write_instant(asked.window.starts_at),
        "ends": write_instant(asked.window.ends_at),
        "found": [[_found(one, asked) for one in each.kits] for each in answer.alternatives],
        "why_so_many": _left_out(answer),
    }


def _found(one: FoundKit, asked: Asked) -> dict[str, object]:
    figures = kit_figures(one.verdict, asked.joint, asked.window.units)
    return {
        "kit": one,
        "pieces": list(zip(one.pieces, one.models, strict=True)),
        "figures": [(name, figures[name]) for name in _FOUND],
        "check": urlencode(
            [("job", asked.job.code), ("joint", asked.joint.mark), *(("item", p.tag) for p in one.pieces)]
        ),
    }


def _left_out(answer: KitAnswer) -> list[str]:
    said = []
    if answer.unknown_sizes:
        names = ", ".join(answer.unknown_sizes)
        said.append(f"Not counted as fitting, as a size is not on record: {names}.")
    said += [
        f"Stopped at the gate although free: {count} {kind}, {why}." for kind, why, count in answer.stopped
    ]
    return said


def _check(  # What is asked for, of which joint, with what.
    db: Connection,
    who: Visitor,
    work: JobLine,
    site: SiteLine,
    mark: str,
    tags: Sequence[str],
    now: datetime,
) -> dict[str, object]:
    if len(tags) > MOST_ITEMS:
        raise NotPossible(f"A kit has at most {MOST_ITEMS} items; {len(tags)} were named.")
    found = [own_item(db, who, tag) for tag in tags]
    ids = [item.id for item, _ in found]
    if len(set(ids)) < len(ids):
        raise NotPossible("The same item was named twice.")
    joint = find_joint(db, work, mark)
    facts = joint_facts(joint, measured_before(db, work.site, joint.mark))
    units = BothUnits(site.pressure_unit, site.torque_unit)
    window = window_of(work, site, reserved_for(db, ids, joint.id, now))
    window = replace(window, units=units)
    if window.ends_at <= now:
        raise NotPossible(f"{work.code} is over, so nothing can be used in it any more.")
    kept = {line.tag for line in reservations(db, since=now, site=site.code, job=work.code)}
    check = check_kit(db, ids, facts, window, now=now)
    return {
        "check": check,
        "units": units,
        "figures": list(kit_figures(check.kit, facts, units).items()),
        "window_said": show_window(window.starts_at, window.ends_at, zone(site.time_zone)),
        "begins": write_instant(window.starts_at),
        "ends": write_instant(window.ends_at),
        "free": [item.tag for item, _ in found if item.tag not in kept],
    }
