"""Trends: what is overdue week by week, rejects by model, concessions per 100 items out, and drift."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.lists.drift import drift
from fleet.lists.overdue_weeks import overdue_weeks
from fleet.lists.trends import calibrated, concession_rate, rejects
from fleet.measures.times import show_day
from fleet.pages.drawing import draw
from fleet.pages.finding import own_item, own_site, own_sites
from fleet.pages.guard import Guard
from fleet.pages.pictures import picture, picture_of_drift
from fleet.pages.reading import units_of
from fleet.papers.bars import Bar, bar_plot
from fleet.papers.plots import Series, line_plot

if TYPE_CHECKING:
    from markupsafe import Markup

    from fleet.lists.overdue_weeks import OverdueTrend
    from fleet.lists.trends import MonthRate, RejectLine

MOST_BARS = 12


class Trends:
    """Four pictures, each with its table."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/trends", self.show, methods=["GET"], response_model=None)
        router.add_api_route("/trends/drift", self.show_drift, methods=["GET"], response_model=None)
        return router

    def show(self, request: Request, site: str = "") -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, now):
            chosen = own_site(db, who, site)
            overdue = overdue_weeks(db, chosen, now=now)
            rate = concession_rate(db, chosen, now=now)
            rejected = rejects(db, chosen, now=now)
            told = {
                "sites": own_sites(db, who),
                "site": chosen,
                "overdue": overdue,
                "weeks": list(zip(overdue.days, overdue.counts, strict=True)),
                "overdue_picture": _overdue_picture(overdue),
                "rate": rate,
                "rate_picture": _rate_picture(rate),
                "rejects": rejected,
                "rejects_picture": _rejects_picture(rejected),
                "calibrated": calibrated(db, chosen),
            }
        return draw(request, self._room, "trends.html", who, 200, **told)

    def show_drift(self, request: Request, item: str = "") -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, _now):
            found, site = own_item(db, who, item)
            moved = drift(db, found)
        units = units_of(site)
        rows = [
            (
                show_day(point.calibrated_on),
                point.certificate,
                point.stage.value,
                units.reading(nominal.at_mpa),
                f"{point.error_percent:+.2f} %",
                f"±{point.expanded_percent:.2f} %" if point.expanded_percent is not None else "not stated",
                f"±{point.tolerance_percent:g} %",
            )
            for nominal in moved.nominals
            for point in nominal.points
        ]
        told = {
            "item": found,
            "rows": rows,
            "of": moved.of if moved.nominals else "",
            "picture": picture_of_drift(moved, site),
        }
        return draw(request, self._room, "trend_drift.html", who, 200, **told)


def _overdue_picture(found: OverdueTrend) -> Markup:
    points = tuple(
        (float(day.toordinal()), float(count)) for day, count in zip(found.days, found.counts, strict=True)
    )
    marks = [(float(day.toordinal()), show_day(day)) for day in found.days[::8]]
    title = "Tasks overdue at the end of each week"
    series = [Series("overdue", points)]
    return picture(line_plot(title, "week's end", "tasks overdue", series, key="overdue", x_marks=marks))


def _rate_picture(found: list[MonthRate]) -> Markup | None:
    bars = [
        Bar(
            f"{month.first_day:%Y-%m}",
            month.per_hundred or 0.0,
            "nothing went out" if month.per_hundred is None else f"{month.per_hundred:.1f}",
        )
        for month in found
    ]
    if not any(month.handed_out for month in found):
        return None
    title = "Concessions per 100 items handed out"
    return picture(bar_plot(title, "concessions per 100 items, by month", bars, key="rate"))


def _rejects_picture(found: list[RejectLine]) -> Markup | None:
    bars = [
        Bar(
            f"{line.kind} {line.model}",
            line.share,
            f"{line.share:.0f} %, {line.rejects} of {line.inspections}",
        )
        for line in found[:MOST_BARS]
        if line.rejects
    ]
    if not bars:
        return None
    return picture(
        bar_plot("Rejects by model", "rejects in % of the inspections of a year", bars, key="rejects")
    )
