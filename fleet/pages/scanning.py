"""What was scanned, on whatever page: an item goes to the counter or comes back, a badge says who takes it.

Nothing is changed here: it leads to the page that shows it.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.lists.people import people
from fleet.measures.tags import read_tag
from fleet.pages.basket import COUNTER, Basket, read_basket
from fleet.pages.drawing import draw
from fleet.pages.finding import own_item, own_job, own_site
from fleet.pages.guard import Guard, go
from fleet.refusals import NotFound, Unreadable

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.items import ItemLine

LONGEST = 80


class Scanning:
    """The one field at the top of every page."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/scan", self.scan, methods=["GET"], response_model=None)
        return router

    def scan(self, request: Request, code: str = "", at: str = COUNTER) -> Response:
        who, asked = self._guard.sure(request), code.strip()[:LONGEST]
        params = request.query_params
        basket = read_basket(at, lambda name: params.get(name, ""), params.getlist)
        with self._guard.look() as (db, _now):
            own_site(db, who)
            if not asked:
                return go(basket.address)
            try:
                return go(_after(db, who, asked, basket).address)
            except NotFound as refusal:
                why = str(refusal)
        told = {"asked": asked, "why": why, "basket": basket.hidden, "on": basket}
        return draw(request, self._room, "unknown.html", who, 404, **told)


def _after(db: Connection, who: Visitor, asked: str, basket: Basket) -> Basket:
    """The basket with what was scanned: a tag, else a badge, a serial number, a name or the code of a job."""
    if _is_tag(asked):
        with suppress(NotFound):
            return _with(basket, own_item(db, who, asked)[0])
    everybody = people(db)
    for person in everybody:
        if person.badge.casefold() == asked.casefold():
            return replace(basket, way=COUNTER, to=person.badge)
    try:
        return _with(basket, own_item(db, who, asked)[0])
    except NotFound:
        called = [one for one in everybody if one.name.casefold() == " ".join(asked.split()).casefold()]
        if len(called) == 1:
            return replace(basket, way=COUNTER, to=called[0].badge)
        with suppress(NotFound):
            # The day to be back was that of another job.
            return replace(basket, way=COUNTER, job=own_job(db, who, asked)[0].code, back="")
        raise


def _is_tag(asked: str) -> bool:
    try:
        read_tag(asked)
    except Unreadable:
        return False
    return True


def _with(basket: Basket, item: ItemLine) -> Basket:
    """What is out comes back; what is in goes out, if it may."""
    return basket.with_coming(item.tag) if item.holder else basket.with_going(item.tag)
