"""Jobs and joints written by hand: one form for each, the same for a new one and for one that changes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.threads import NutSeries
from fleet.desk.jobs import add_job, add_joint, change_job, change_joint
from fleet.lists.jobs import find_joint
from fleet.lists.templates import templates
from fleet.lists.typed_jobs import job_cells, joint_cells
from fleet.measures.times import with_year
from fleet.pages.asked import HOW, NOT_SENT, Tried, tried
from fleet.pages.drawing import draw
from fleet.pages.finding import own_job, own_site, own_sites
from fleet.pages.guard import Form, Guard, Typed, go
from fleet.pages.jobs import way_of_job
from fleet.refusals import Refusal
from fleet.rules.joints import JOB_CODE, JOB_FIELDS, JOINT_FIELDS
from fleet.rules.register import Head

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import date

    from fleet.desk.jobs import Written
    from fleet.lists.access import Visitor
    from fleet.rules.cells import Field

_MOMENTS = ("Start", "End")


class JobEditing:
    """The two forms."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        for path, shown, taken in (
            ("/plan/job", self.show_new, self.add),
            ("/job/change", self.show_change, self.change),
            ("/job/joint", self.show_joint, self.take_joint),
        ):
            router.add_api_route(path, shown, methods=["GET"], response_model=None)
            router.add_api_route(path, taken, methods=["POST"], response_model=None)
        return router

    def show_new(self, request: Request, site: str = "") -> Response:
        return self._new(request, self._guard.sure(request), site)

    def _new(
        self,
        request: Request,
        who: Visitor,
        asked: str,
        again: Tried = NOT_SENT,
    ) -> Response:
        with self._guard.look() as (db, _now):
            site, sites = own_site(db, who, asked), own_sites(db, who)
        return draw(
            request,
            self._room,
            "job_form.html",
            who,
            again.status,
            job=None,
            site=site,
            sites=sites,
            cells=_shown((JOB_CODE, *JOB_FIELDS), {}, again),
            how=HOW,
            **again.told,
        )

    def add(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        try:
            with self._guard.act(who) as (db, by, now):
                site = own_site(db, who, form.get("site"))
                cells = typed_cells(form, (JOB_CODE, *JOB_FIELDS), site.today(now))
                done = add_job(db, site.code, cells, by=by, now=now)
        except Refusal as refusal:
            return self._new(request, who, form.get("site"), tried(form, refusal))
        said = f"{done.name} was on record like this already." if done.again else f"{done.name} is on record."
        return go(way_of_job(done.name), said=said)

    def show_change(self, request: Request, job: str = "") -> Response:
        return self._change(request, self._guard.sure(request), job)

    def _change(
        self,
        request: Request,
        who: Visitor,
        code: str,
        again: Tried = NOT_SENT,
    ) -> Response:
        with self._guard.look() as (db, _now):
            work, site = own_job(db, who, code)
        cells = _shown((JOB_CODE, *JOB_FIELDS), job_cells(work), again)
        return draw(
            request,
            self._room,
            "job_form.html",
            who,
            again.status,
            job=work,
            site=site,
            sites=[],
            cells=cells,
            how=HOW,
            **again.told,
        )

    def change(self, request: Request, form: Typed) -> Response:
        who, code = self._guard.sure(request), form.get("job")
        try:
            with self._guard.act(who) as (db, by, now):
                work, site = own_job(db, who, code)
                cells = typed_cells(form, JOB_FIELDS, site.today(now))
                done = change_job(db, work.code, cells, by=by, now=now)
        except Refusal as refusal:
            return self._change(request, who, code, tried(form, refusal))
        return go(way_of_job(work.code), said=_changed(work.code, done))

    def show_joint(self, request: Request, job: str = "", joint: str = "") -> Response:
        return self._joint(request, self._guard.sure(request), job, joint)

    def _joint(
        self,
        request: Request,
        who: Visitor,
        code: str,
        mark: str,
        again: Tried = NOT_SENT,
    ) -> Response:
        with self._guard.look() as (db, _now):
            work, _site = own_job(db, who, code)
            joint = find_joint(db, work, mark) if mark else None
            cells = _shown(JOINT_FIELDS, joint_cells(db, joint) if joint else {}, again)
            known = [one.template for one in templates(db)]
        return draw(
            request,
            self._room,
            "joint_form.html",
            who,
            again.status,
            job=work,
            joint=joint,
            cells=cells,
            templates=known,
            series=[one.value for one in NutSeries],
            heads=[one.value for one in Head],
            **again.told,
        )

    def take_joint(self, request: Request, form: Typed) -> Response:
        who, code, mark = self._guard.sure(request), form.get("job"), form.get("of")
        cells = typed_cells(form, JOINT_FIELDS)
        try:
            with self._guard.act(who) as (db, by, now):
                work, _site = own_job(db, who, code)
                done = (
                    change_joint(db, work.code, mark, cells, by=by, now=now)
                    if mark
                    else add_joint(db, work.code, cells, by=by, now=now)
                )
        except Refusal as refusal:
            return self._joint(request, who, code, mark, tried(form, refusal))
        said = _changed(done.name, done) if mark else f"{done.name} is on record."
        return go(way_of_job(work.code), said=said)


def _shown(fields: Iterable[Field], kept: Mapping[str, str], again: Tried) -> dict[str, str]:
    """What stands in the fields: what was typed, also where it is empty now; else what is on record."""
    if again.sent:
        return {one.heading: again.form.get(slug(one.heading)) for one in fields}
    return {one.heading: kept.get(one.heading, "") for one in fields}


def slug(heading: str) -> str:
    """The name of a field for what a sheet has under this heading."""
    return heading.lower().replace(" ", "-")


def typed_cells(form: Form, fields: Iterable[Field], today: date | None = None) -> dict[str, str]:
    """What was typed, by the headings of the sheet; days without a year get the one to come."""
    cells = {one.heading: form.get(slug(one.heading)) for one in fields}
    if today:
        cells |= {name: with_year(cells[name], today) for name in _MOMENTS if name in cells}
    return cells


def _changed(name: str, done: Written) -> str:
    if done.again:
        return f"Nothing of {name} was changed: it stands like this already."
    said = f"Changed of {name}: {', '.join(done.changed)}."
    if done.outside:
        items = "1 reservation reaches" if done.outside == 1 else f"{done.outside} reservations reach"
        said += f" {items} beyond its window now; see what is reserved for it."
    return said
