"""What is due at a site until a day, overdue first, each with the page that does it."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.lists.due import due
from fleet.lists.due_words import say_when, say_where
from fleet.measures.times import read_day
from fleet.pages.drawing import draw
from fleet.pages.finding import own_sites, site_among
from fleet.pages.guard import Guard
from fleet.pages.next_steps import step_for_task
from fleet.refusals import Unreadable

if TYPE_CHECKING:
    from datetime import date

    from fleet.lists.due import DueLine

MOST_ROWS = 100
DAYS_AHEAD = (7, 14, 30)
# As far as a forecast says anything.
MOST_DAYS_AHEAD = 3650


class Due:
    """The due list."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/due", self.show_due, methods=["GET"], response_model=None)
        return router

    def show_due(self, request: Request) -> Response:
        # Read here: this page is asked for most, and the library takes longer to hand them over.
        site, until, first = (request.query_params.get(name, "") for name in ("site", "until", "first"))
        with self._guard.sure_look(request) as (who, db, now):
            chosen = own_sites(db, who)
            where = site_among(chosen, who, site)
            today = where.today(now)
            day, error = _until(until, today)
            found = due(db, where.id, until=day, today=today)
        begin = min(int(first), len(found)) if first.isascii() and first.isdigit() and len(first) < 7 else 0  # noqa: PLR2004  No list is longer.
        shown = found[begin : begin + MOST_ROWS]
        return draw(
            request,
            self._room,
            "items/due.html",
            who,
            422 if error else 200,
            error=error,
            sites=chosen,
            site=where,
            today=today,
            until=day,
            asked=until.strip()[:40] if error else "",
            days=[(number, (today + timedelta(days=number)).isoformat()) for number in DAYS_AHEAD],
            rows=rows_of(shown, today),
            begin=begin,
            count=len(found),
            overdue=sum(line.overdue(today) for line in found),
            most=MOST_ROWS,
        )


def rows_of(found: list[DueLine], today: date) -> list[tuple[str, str, str, str, str, str, str, str]]:
    """Whether overdue, tag, what it is, task, when, where, what to do and its page."""
    rows = []
    for line in found:
        step = step_for_task(line.tag, line.task, line.proved_by, line.counts_from)
        state = "OVERDUE" if line.overdue(today) else "due"
        what = f"{line.kind} {line.model}"
        rows.append(
            (state, line.tag, what, line.task, say_when(line, today), say_where(line), step.words, step.way)
        )
    return rows


def _until(asked: str, today: date) -> tuple[date, str | None]:
    """The day asked for, or in a month; and what could not be read of it."""
    otherwise = today + timedelta(days=DAYS_AHEAD[-1])
    if not asked.strip():
        return otherwise, None
    try:
        day = read_day(asked[:40])
    except Unreadable as refusal:
        return otherwise, str(refusal)
    return min(max(day, today), today + timedelta(days=MOST_DAYS_AHEAD)), None
