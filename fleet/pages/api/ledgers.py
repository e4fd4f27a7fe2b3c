"""What is read page by page: items, their ledgers, letters, the day book."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from fleet.lists.calibrations import certificates
from fleet.lists.daybook import entries
from fleet.lists.items import items_page
from fleet.lists.letters import letters
from fleet.lists.usage import usage
from fleet.measures.times import read_week
from fleet.pages.api import shapes as told
from fleet.pages.api.asked import LARGEST, InPath, KindAsked, Limit, SiteAsked, TextAsked
from fleet.pages.api.own import item_of, site_of
from fleet.pages.api.shapes import lines_of, page_of, tell
from fleet.rules.letters import LetterState
from fleet.rules.tokens import Scope

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.pages.api.bearer import Gate
    from fleet.pages.api.shapes import Shape

USUAL = 50
_Before = Annotated[int | None, Query(alias="after", ge=1, le=LARGEST, description="Number of an entry.")]


class Ledgers:
    """Long lists, each a page at a time."""

    def __init__(self, gate: Gate) -> None:
        self._gate = gate

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(tags=["lists"])

        def add(path: str, answer: Callable[..., Response], shape: type[Shape]) -> None:
            router.add_api_route(path, answer, methods=["GET"], response_model=shape)

        add("/items", self.items, page_of(told.Item))
        add("/items/{item}", self.item, told.Item)
        add("/items/{item}/certificates", self.certificates, lines_of(told.Certificate))
        add("/items/{item}/uses", self.uses, lines_of(told.Use))
        add("/letters", self.letters, lines_of(told.Letter))
        add("/daybook", self.daybook, page_of(told.DayBookEntry))
        return router

    def items(  # Each narrows the question by itself.
        self,
        request: Request,
        site: SiteAsked = "",
        kind: KindAsked = None,
        about: TextAsked = None,
        after: TextAsked = None,
        limit: Limit = USUAL,
    ) -> Response:
        """The items of a site that are in service, by tag; ``about`` looks in tags, serials and models."""
        with self._gate.look(request, Scope.READ) as asking:
            where = site_of(asking, site)
            found = items_page(
                asking.db, where.code, kind=kind, about=about, after=after or "", most=limit + 1
            )
        page = {"lines": found[:limit], "next": found[limit - 1].tag if len(found) > limit else None}
        return tell(page_of(told.Item), page)

    def item(self, request: Request, item: InPath) -> Response:
        """One item by its tag, or by a serial number that only it bears."""
        with self._gate.look(request, Scope.READ) as asking:
            found, _site = item_of(asking, item)
        return tell(told.Item, found)

    def certificates(self, request: Request, item: InPath) -> Response:
        """The certificates of an item, the newest first."""
        with self._gate.look(request, Scope.READ) as asking:
            found = certificates(asking.db, item_of(asking, item)[0])
        return tell(lines_of(told.Certificate), {"lines": found})

    def uses(self, request: Request, item: InPath, limit: Limit = USUAL) -> Response:
        """The newest entries of an item's usage ledger."""
        with self._gate.look(request, Scope.READ) as asking:
            found = usage(asking.db, item_of(asking, item)[0], most=limit)
        return tell(lines_of(told.Use), {"lines": found})

    def letters(
        self,
        request: Request,
        site: SiteAsked = "",
        week: Annotated[str | None, Query(pattern=r"^20[0-9]{2}-W[0-5][0-9]$")] = None,
        state: LetterState | None = None,
        limit: Limit = USUAL,
    ) -> Response:
        """How the letters about a site stand, the newest week first; what they say is for their readers."""
        with self._gate.look(request, Scope.READ) as asking:
            where = site_of(asking, site)
            of = read_week(week) if week else None
            found = letters(asking.db, site=where.code, week=of, state=state, most=limit)
        return tell(lines_of(told.Letter), {"lines": found})

    def daybook(
        self,
        request: Request,
        site: SiteAsked = "",
        about: TextAsked = None,
        before: _Before = None,
        limit: Limit = USUAL,
    ) -> Response:
        """The day book of a site, the newest first; ``about`` one tag or one job."""
        with self._gate.look(request, Scope.READ) as asking:
            where = site_of(asking, site)
            found = entries(asking.db, where.id, about=about, before=before, most=limit + 1)
        more = str(found[limit - 1].seq) if len(found) > limit else None
        return tell(page_of(told.DayBookEntry), {"lines": found[:limit], "next": more})
