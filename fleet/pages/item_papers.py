"""The card of an item and everything on record about it, to print."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.lists.daybook import seal
from fleet.lists.evidence import Section, item_evidence, item_files
from fleet.measures.tags import show_tag
from fleet.measures.times import zone
from fleet.pages.finding import own_item
from fleet.pages.guard import Guard
from fleet.papers.evidence import Printed, evidence_pack, item_card
from fleet.rules.daybook import ROOM_CHAIN
from fleet.rules.retention import read_years, retention

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.sites import SiteLine
    from fleet.settings import Settings


class ItemPapers:
    """Two PDF files of one item."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/items/{tag}/card.pdf", self.print_card, methods=["GET"], response_model=None)
        router.add_api_route(
            "/items/{tag}/evidence.pdf", self.print_evidence, methods=["GET"], response_model=None
        )
        return router

    def print_card(self, request: Request, tag: str) -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, now):
            item, site = own_item(db, who, tag)
            sections = item_evidence(db, item.id, item.tag)
            printed = printed_by(db, who, site, now)
        title = f"Item {show_tag(item.tag)}: {item.kind} {item.model}"
        lead = "As it stands on record when printed; ask the register before use."
        return pdf(f"card-{item.tag}", item_card(title, lead, sections, printed))

    def print_evidence(self, request: Request, tag: str) -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, now):
            item, site = own_item(db, who, tag)
            sections = [*item_evidence(db, item.id, item.tag), kept_for(self._room.settings)]
            files = item_files(db, item.id)
            printed = printed_by(db, who, site, now)
        title = f"Evidence: {item.kind} {show_tag(item.tag)}, {item.model}, serial {item.serial}"
        lead = "Everything on record when printed, with what was withdrawn or reversed beside what did so."
        return pdf(f"evidence-item-{item.tag}", evidence_pack(title, lead, sections, printed, files))


def printed_by(db: Connection, who: Visitor, site: SiteLine, now: datetime) -> Printed:
    """Who prints a paper of a site, when, and how the day book stands."""
    return Printed(who.name, now, zone(site.time_zone), (seal(db, ROOM_CHAIN), seal(db, site.id)))


def kept_for(settings: Settings) -> Section:
    """How long records are kept, as set for this room."""
    years = {kind: read_years(kind, text) for kind, text in settings.retention_years.items()}
    rows = tuple((one.records, one.years, one.counted_from) for one in retention(years))
    return Section("How long records are kept", ("Records", "Years at least", "Counted from"), rows)


def pdf(name: str, content: bytes) -> Response:
    """A paper to download; its name is of plain letters and figures."""
    plain = "".join(sign if sign.isalnum() and sign.isascii() else "-" for sign in name)
    headers = {"Content-Disposition": f'attachment; filename="{plain}.pdf"'}
    return Response(content, media_type="application/pdf", headers=headers)
