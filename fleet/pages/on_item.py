"""What the pages about one item share: whose it is, the form shown again, and the way back to the item."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.pages.drawing import draw
from fleet.pages.finding import own_item
from fleet.pages.guard import Guard, go, status_of
from fleet.refusals import NotFound, Refusal
from fleet.rules.access import is_confirmed

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from fastapi import Request
    from fastapi.responses import Response
    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.items import ItemLine
    from fleet.lists.sites import SiteLine
    from fleet.pages.guard import Form
    from fleet.rules.people import Actor

    Told = Callable[[Connection, ItemLine, SiteLine, datetime], dict[str, object]]
    ItsPage = tuple[str, Told]
    Act = Callable[[Connection, ItemLine, SiteLine, Actor, datetime], str]


class OnItem:
    """Pages with a form about one item: shown, and shown again with what was typed when it was refused."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def show(self, request: Request, who: Visitor, tag: str, page: ItsPage, **more: object) -> Response:
        """The page of one item that is a visitor's own."""
        return self._drawn(request, who, tag, page, 200, more)

    def _drawn(  # Who asks for which page about which item, and what else it is told.
        self, request: Request, who: Visitor, tag: str, page: ItsPage, status: int, more: dict[str, object]
    ) -> Response:
        template, told = page
        with self._guard.look() as (db, now):
            item, site = own_item(db, who, tag)
            known = told(db, item, site, now)
        known |= {"item": item, "site": site, "is_sure": is_sure_of(who, now)}
        return draw(request, self._room, template, who, status, **(known | more))

    def act(  # Who asks for what about which item, the page to show again, and what is done.
        self,
        request: Request,
        who: Visitor,
        tag: str,
        form: Form,
        page: ItsPage,
        act: Act,
        to: str = "",
    ) -> Response:
        """Act in one transaction, then go on to the item (or ``to``); a refusal shows the form again."""
        try:
            with self._guard.act(who) as (db, by, now):
                item, site = own_item(db, who, tag)
                said = act(db, item, site, by, now)
        except Refusal as refusal:
            return self.again(request, who, tag, form, page, refusal)
        return go(to or f"/items/{item.tag}", said)

    def again(  # Who asked for what about which item, and why not.
        self, request: Request, who: Visitor, tag: str, form: Form, page: ItsPage, refusal: Refusal
    ) -> Response:
        """The page with what was typed, and the sentence that says why not."""
        more: dict[str, object] = {"error": str(refusal), "typed": form}
        return self._drawn(request, who, tag, page, status_of(refusal), more)


def is_sure_of(who: Visitor, now: datetime) -> bool:
    """Whether it was proved a moment ago that it is still them, as some acts need it."""
    return who.station_id is None and is_confirmed(who.times, now)


def theirs(db: Connection, who: Visitor, tag: str, what: str) -> tuple[ItemLine, SiteLine]:
    """The item that something belongs to; of what belongs elsewhere they are told that it is not there."""
    try:
        return own_item(db, who, tag)
    except NotFound:
        raise NotFound(f"There is no {what} at a site of yours.") from None
