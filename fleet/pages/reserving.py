"""Reserving items for a job by hand: first what would come of it, and then the act."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.parts import Kind
from fleet.desk.reservations import ReserveSlip, reserve
from fleet.lists.job_board import job_choices
from fleet.lists.jobs import find_joint, joints
from fleet.lists.reserving import look_at, would_choose
from fleet.measures.times import show_window, zone
from fleet.pages.asked import HOW, NOT_SENT, Tried, moment_ahead, number_of, tried
from fleet.pages.drawing import draw
from fleet.pages.finding import own_item, own_job, own_site, own_sites
from fleet.pages.guard import Form, Guard, Typed, go
from fleet.pages.jobs import way_of_job
from fleet.pages.reading import request_id
from fleet.pages.reserved import KINDS, to_see_to
from fleet.refusals import NotPossible, Refusal, Unreadable
from fleet.rules.item_classes import make_class
from fleet.rules.reservations import check_expiry, check_window, make_window

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.items import ItemLine
    from fleet.lists.jobs import JobLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.item_classes import Wanted

MOST_ITEMS = 60
_CLASS = ("model", "at_least", "drive", "across_flats", "coupling")
_FIELDS = ("job", "joint", "items", "start", "end", "expires", "kind", "count", *_CLASS)


@dataclass(frozen=True, slots=True)
class _Wish:
    """What the form asks for, read."""

    work: JobLine
    site: SiteLine
    items: tuple[ItemLine, ...]
    joint: str | None
    starts_at: datetime
    ends_at: datetime
    expires_at: datetime | None
    any_of: Wanted | None
    count: int


class Reserving:
    """The form, what would come of it, and the act."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/reserved/new", self.show, methods=["GET"], response_model=None)
        router.add_api_route("/reserved/new", self.keep, methods=["POST"], response_model=None)
        return router

    def show(self, request: Request, site: str = "") -> Response:
        who = self._guard.sure(request)
        asked = request.query_params
        typed = {name: asked.get(name, "").strip() for name in _FIELDS}
        typed["items"] = " ".join(asked.getlist("items")).strip()
        return self._page(request, who, typed, site, look=asked.get("look") == "yes")

    def _page(  # The form and what would come of it; after a refusal with its sentence.
        self,
        request: Request,
        who: Visitor,
        typed: Mapping[str, str],
        asked_site: str = "",
        *,
        look: bool,
        again: Tried = NOT_SENT,
    ) -> Response:
        looked: dict[str, object] = {"looked": None}
        with self._guard.look() as (db, now):
            work, site = None, own_site(db, who, asked_site)
            if typed["job"]:
                work, site = own_job(db, who, typed["job"])
            if work and look:
                try:
                    looked = _look(db, _read(db, who, typed, now), typed, now)
                except Refusal as refusal:
                    again = again if again.sent else tried(Form(), refusal)
            marks = [one.mark for one in joints(db, work)] if work else []
            choices, sites = job_choices(db, site, now), own_sites(db, who)
        said: dict[str, object] = {"job": work, "site": site, "sites": sites, "jobs": choices}
        said |= {"marks": marks, "asked": typed, "kinds": KINDS, "how": HOW, "fields": _FIELDS}
        return draw(request, self._room, "reserve.html", who, again.status, **said, **looked, **again.told)

    def keep(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        typed = {name: form.get(name) for name in _FIELDS}
        try:
            with self._guard.act(who) as (db, by, now):
                wish = _read(db, who, typed, now)
                slip = ReserveSlip(
                    request_id(form),
                    tuple(item.tag for item in wish.items),
                    wish.work.code,
                    wish.joint,
                    wish.starts_at,
                    wish.ends_at,
                    wish.any_of,
                    wish.count,
                    wish.expires_at,
                )
                kept = reserve(db, slip, by=by, now=now)
        except Refusal as refusal:
            return self._page(request, who, typed, look=True, again=tried(form, refusal))
        when = " to ".join(show_window(kept.starts_at, kept.ends_at, zone(wish.site.time_zone)))
        count = len(wish.items) + (wish.count if wish.any_of else 0)
        items = "1 item is" if count == 1 else f"{count} items are"
        before = " That had been done before." if kept.again else ""
        said = f"{items} reserved for {kept.job}, {when}.{before}{to_see_to(*kept.verdicts)}"
        return go(way_of_job(kept.job), said=said)


def _read(db: Connection, who: Visitor, typed: Mapping[str, str], now: datetime) -> _Wish:
    """The form read; raises a refusal for what makes no sense."""
    work, site = own_job(db, who, typed["job"])
    tags = typed["items"].replace(",", " ").split()
    if len(tags) > MOST_ITEMS:
        raise NotPossible(f"At most {MOST_ITEMS} items are reserved at a time; {len(tags)} were named.")
    items = tuple(own_item(db, who, tag)[0] for tag in tags)
    if len({item.id for item in items}) < len(items):
        raise NotPossible("The same item was named twice.")
    any_of = _class(typed)
    if not items and not any_of:
        raise NotPossible("Name the items by their tags, or choose a kind of which any will do.")
    starts_at = moment_ahead(typed["start"], site, now) or work.starts_at
    ends_at = moment_ahead(typed["end"], site, now, end=True) or work.ends_at
    expires_at = moment_ahead(typed["expires"], site, now, end=True)
    check_window(starts_at, ends_at, now)
    check_expiry(expires_at, ends_at, now)
    joint = find_joint(db, work, typed["joint"]).mark if typed["joint"] else None
    count = number_of(typed["count"] or "1")
    if not 1 <= count <= MOST_ITEMS:
        raise Unreadable(f"Say how many as a whole number from 1 to {MOST_ITEMS}.")
    return _Wish(work, site, items, joint, starts_at, ends_at, expires_at, any_of, count)


def _class(typed: Mapping[str, str]) -> Wanted | None:
    if typed["kind"] in KINDS:
        return make_class(Kind(typed["kind"]), {name: typed[name] or None for name in _CLASS})
    if any(typed[name] for name in _CLASS):
        raise NotPossible("Choose the kind of which any will do.")
    return None


def _look(db: Connection, wish: _Wish, typed: Mapping[str, str], now: datetime) -> dict[str, object]:
    """What would come of it now."""
    there = zone(wish.site.time_zone)
    window = make_window(wish.work.code, wish.site.code, wish.starts_at, wish.ends_at, there=there, now=now)
    looked = look_at(db, wish.site, wish.items, window, now=now)
    tags = [one.tag for one in looked]
    ways = {
        one.tag: "/reserved/new?"
        + urlencode(
            {**{name: value for name, value in typed.items() if value}, "look": "yes"}
            | {"items": " ".join(one.instead if tag == one.tag and one.instead else tag for tag in tags)}
        )
        for one in looked
        if one.instead
    }
    chosen = would_choose(db, wish.site, wish.any_of, wish.count, window, now=now) if wish.any_of else None
    short = chosen is not None and len(chosen.tags) < wish.count
    return {
        "looked": looked,
        "ways": ways,
        "chosen": chosen,
        "wanted": wish.count,
        "window_said": show_window(wish.starts_at, wish.ends_at, there),
        "possible": not short and not any(one.taken for one in looked),
    }
