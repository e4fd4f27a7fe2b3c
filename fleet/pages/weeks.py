"""The weeks of a site: a picture of what every item is kept for, and the same as a table to sort."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.lists.weeks import weeks
from fleet.pages.asked import NOT_SENT, Paged, day_ahead, number_of, page_asked, tried
from fleet.pages.drawing import draw
from fleet.pages.finding import own_site, own_sites
from fleet.pages.guard import Form, Guard
from fleet.pages.pictures import picture
from fleet.pages.reserved import KINDS
from fleet.refusals import Refusal
from fleet.rules.week_pictures import weeks_picture
from fleet.rules.weeks import MOST_WEEKS, USUAL_WEEKS, Sort, make_period

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import date
    from typing import Any

    from fleet.rules.weeks import ItemWeeks, Stretch, Weeks

# In the picture: as many items as still print on two pages. In the table: rows.
ITEMS, ROWS = 60, 100
_ASKED = ("from", "weeks", "kind", "items", "sort", "down", "part", "page")
_LONG = (4, USUAL_WEEKS, 13, 26, MOST_WEEKS)


@dataclass(frozen=True, slots=True)
class Row:
    """One stretch of one item in the table."""

    item: ItemWeeks
    stretch: Stretch
    last_on: date | None

    @property
    def job(self) -> str:
        """The job it is about, where it is about one."""
        return self.stretch.mark if self.stretch.sort in (Sort.RESERVED, Sort.OUT) else ""


_KEYS: dict[str, Callable[[Row], Any]] = {
    "item": lambda row: (row.item.kind, row.item.model, row.item.tag, row.stretch.first_on),
    "what": lambda row: (row.stretch.sort, row.stretch.mark, row.item.tag),
    "from": lambda row: (row.stretch.first_on, row.item.tag),
    # What has no end known comes last.
    "to": lambda row: (row.last_on is None, row.last_on or row.stretch.first_on, row.item.tag),
}
_COLUMNS = (("item", "Item"), ("what", "What"), ("from", "From"), ("to", "To"))


class WeeksAhead:
    """One page; what it shows and how it is sorted stands in its address."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/weeks", self.show, methods=["GET"], response_model=None)
        return router

    def show(self, request: Request) -> Response:
        who, asked = self._guard.sure(request), request.query_params
        said = {
            name: asked.get(name, "").strip() for name in ("from", "weeks", "kind", "items", "sort", "down")
        }
        kind = said["kind"] if said["kind"] in KINDS else None
        by = said["sort"] if said["sort"] in _KEYS else "item"
        again, many = NOT_SENT, number_of(said["weeks"]) or USUAL_WEEKS
        with self._guard.look() as (db, now):
            site = own_site(db, who, asked.get("site", ""))
            today, sites = site.today(now), own_sites(db, who)
            try:
                period = make_period(day_ahead(said["from"], today, today), many)
            except Refusal as refusal:
                again, period = tried(Form(), refusal), make_period(today, USUAL_WEEKS)
            found = weeks(db, site, period, kind=kind, now=now)
        busy = [one for one in found.items if said["items"] == "all" or _shown(one, found)]
        part, paged = (
            Paged(page_asked(asked.get("part", "")), ITEMS),
            Paged(page_asked(asked.get("page", "")), ROWS),
        )
        rows = sorted(_rows(busy, found), key=_KEYS[by], reverse=said["down"] == "yes")
        query = {"site": site.code, "from": period.first_day.isoformat(), "weeks": str(period.weeks)}
        query |= {name: said[name] for name in ("kind", "items", "sort", "down") if said[name]}
        drawn = part.cut(busy[part.skip : part.skip + part.one_more])
        return draw(
            request,
            self._room,
            "weeks.html",
            who,
            again.status,
            site=site,
            sites=sites,
            found=found,
            picture=picture(weeks_picture(replace(found, items=tuple(drawn))))
            if drawn or found.shortages
            else None,
            drawn=len(drawn),
            busy=len(busy),
            rows=paged.cut(rows[paged.skip : paged.skip + paged.one_more]),
            columns=[(key, name, by == key, _sorted_by(query, key, by)) for key, name in _COLUMNS],
            down=said["down"] == "yes",
            kinds=KINDS,
            kind=kind or "",
            every=said["items"] == "all",
            long=_LONG,
            query=query,
            paged=paged,
            picked=part,
            earlier=_moved(query, found, -1),
            later=_moved(query, found, 1),
            now_way=urlencode({name: value for name, value in query.items() if name != "from"}),
            **again.told,
        )


def _shown(item: ItemWeeks, found: Weeks) -> bool:
    return any(one.within(found.period.first_day, found.period.last_day) for one in item.stretches)


def _rows(items: Iterable[ItemWeeks], found: Weeks) -> Iterable[Row]:
    first, last = found.period.first_day, found.period.last_day
    for item in items:
        for one in item.stretches:
            if one.within(first, last):
                # What is due is drawn up to today; it is due on its own day all the same.
                yield Row(item, one, one.first_on if one.sort is Sort.DUE else one.last_on)


def _moved(query: dict[str, str], found: Weeks, way: int) -> str:
    """The address of the weeks before or after these."""
    first = found.period.first_day + way * timedelta(weeks=found.period.weeks)
    return urlencode(query | {"from": first.isoformat()})


def _sorted_by(query: dict[str, str], key: str, by: str) -> str:
    """The address of the same sorted by a column; by the one it is sorted by already, the other way round."""
    kept = {name: value for name, value in query.items() if name not in ("sort", "down")}
    turned = key == by and "down" not in query
    return urlencode(kept | {"sort": key} | ({"down": "yes"} if turned else {}))
