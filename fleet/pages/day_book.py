"""The day book: looked through, proved to be as it was sealed, and compared with what was printed."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.lists.book_pages import Sought, acts_of, look_through
from fleet.lists.daybook import FirstAltered, compare_seal, seal, verify_part
from fleet.lists.late_entries import late_entries
from fleet.measures.tags import read_tag
from fleet.measures.times import read_moment, zone
from fleet.pages.asked import number_of
from fleet.pages.drawing import draw
from fleet.pages.finding import own_site, own_sites
from fleet.pages.guard import Guard, status_of
from fleet.refusals import Refusal, Unreadable
from fleet.rules.daybook import ROOM_CHAIN
from fleet.rules.entry_words import about_words, details, sentence

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.daybook import Entry
    from fleet.lists.sites import SiteLine

AT_A_TIME = 50
# So many entries are worked out again for one page; a longer book takes several.
PART = 20_000
LOOK_BACK = timedelta(days=7)
ROOM = "room"
# As it stands at the foot of a letter or paper; people may type the dot as they like.
_SEAL = re.compile(r"\s*([0-9]{1,15})\s*[·.:, -]\s*([0-9a-f]{8,64})\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Book:
    """One chain: a site's, or the room's own, which holds what belongs to no site."""

    chain: int
    code: str
    name: str
    time_zone: str


@dataclass(frozen=True, slots=True)
class Told:
    """One entry in plain words."""

    entry: Entry
    sentence: str
    about: str
    details: str


class DayBook:
    """Reading, and the proof."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/day-book", self.show, methods=["GET"], response_model=None)
        router.add_api_route("/day-book/late", self.show_late, methods=["GET"], response_model=None)
        router.add_api_route("/day-book/proof", self.show_proof, methods=["GET"], response_model=None)
        return router

    def show(self, request: Request, site: str = "") -> Response:
        who, asked = self._guard.sure(request), request.query_params
        typed = {name: asked.get(name, "").strip() for name in ("since", "through", "person", "act", "about")}
        error: Refusal | None = None
        sought = Sought()
        with self._guard.look() as (db, _now):
            book = _book(db, who, site)
            try:
                sought = _sought(typed, book, number_of(asked.get("before", "")))
            except Unreadable as refusal:
                error = refusal
            found = [] if error else look_through(db, book.chain, sought, most=AT_A_TIME + 1)
            told = {
                "book": book,
                "sites": own_sites(db, who),
                "acts": acts_of(db, book.chain),
                "asked": typed,
                "rows": [_told(entry) for entry in found[:AT_A_TIME]],
                "more": found[AT_A_TIME - 1].seq if len(found) > AT_A_TIME else 0,
                "later": bool(sought.before),
                "seal": seal(db, book.chain),
                "error": str(error) if error else None,
            }
        return draw(request, self._room, "day_book.html", who, status_of(error) if error else 200, **told)

    def show_late(self, request: Request, site: str = "") -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, now):
            chosen = own_site(db, who, site)
            found = late_entries(db, chosen, since=now - LOOK_BACK)
            told = {
                "sites": own_sites(db, who),
                "site": chosen,
                "since": chosen.today(now - LOOK_BACK),
                "found": [(line, sentence(line.act, line.about)) for line in found],
            }
        return draw(request, self._room, "day_book_late.html", who, 200, **told)

    def show_proof(self, request: Request, site: str = "", after: str = "", seal: str = "") -> Response:
        who, begin = self._guard.sure(request), number_of(after)
        error: str | None = None
        compared: object = None
        with self._guard.look() as (db, _now):
            book = _book(db, who, site)
            part = verify_part(db, book.chain, after=begin, most=PART)
            if seal.strip():
                printed = _SEAL.fullmatch(seal)
                if printed:
                    compared = compare_seal(db, book.chain, int(printed[1]), printed[2].lower())
                else:
                    error = f'"{seal.strip()[:80]}" is not a seal; write it as printed: 120·0a1b2c3d4e5f6071.'
            told = {
                "book": book,
                "sites": own_sites(db, who),
                "begin": begin,
                "proof": part,
                "altered": part if isinstance(part, FirstAltered) else None,
                "newest": _seal_of(db, book),
                "compared": compared,
                "differs": isinstance(compared, FirstAltered),
                "typed_seal": seal.strip()[:90],
                "error": error,
            }
        return draw(request, self._room, "day_book_proof.html", who, 422 if error else 200, **told)


def _seal_of(db: Connection, book: Book) -> object:
    return seal(db, book.chain)


def _book(db: Connection, who: Visitor, asked: str) -> Book:
    """The book asked for; the room's own is for everybody with a role somewhere."""
    site: SiteLine = own_site(db, who, "" if asked.strip() == ROOM else asked)
    if asked.strip() == ROOM:
        return Book(ROOM_CHAIN, ROOM, "the room", "UTC")
    return Book(site.id, site.code, site.name, site.time_zone)


def _sought(typed: dict[str, str], book: Book, before: int) -> Sought:
    there = zone(book.time_zone)

    def moment(name: str, *, end: bool) -> datetime | None:
        return read_moment(typed[name], there, end=end) if typed[name] else None

    return Sought(
        since=moment("since", end=False),
        until=moment("through", end=True),
        person=typed["person"] or None,
        act=typed["act"] or None,
        about=_bare(typed["about"]) or None,
        before=before or None,
    )


def _bare(about: str) -> str:
    """A tag as it is kept, however it was typed; anything else as it stands."""
    try:
        return read_tag(about)
    except Unreadable:
        return about


def _told(entry: Entry) -> Told:
    return Told(entry, sentence(entry.act, entry.about), about_words(entry.about), details(entry.body))
