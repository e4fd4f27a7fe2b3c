"""The start: what needs whoever is logged in, by their roles, with how many, since when and where to go."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.lists.late_entries import late_entries
from fleet.lists.letters import dead_letters, letters_for
from fleet.lists.ready_holds import ready_holds
from fleet.lists.reserved_matters import reserved_matters
from fleet.lists.start import waits
from fleet.measures.times import iso_week
from fleet.pages.drawing import draw
from fleet.pages.finding import own_sites
from fleet.pages.guard import Guard
from fleet.pages.letters import is_open
from fleet.rules.matters import MatterKind
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.letters import LetterLine
    from fleet.lists.sites import SiteLine

LOOK_BACK = timedelta(days=7)
DEAD_FOR = timedelta(weeks=5)


@dataclass(frozen=True, slots=True)
class Sort:
    """How a matter is said of one thing and of many, what is said when nothing waits, and where to go."""

    one: str
    many: str
    none: str
    way: str
    urgent: bool = False


@dataclass(frozen=True, slots=True)
class Need:
    """One line of the list."""

    count: int
    words: str
    since: date | None
    way: str
    urgent: bool
    until: str = "since"


@dataclass(frozen=True, slots=True)
class Part:
    """What one role at one site has to see to, and what of it is done."""

    site: SiteLine
    role: Role
    needs: tuple[Need, ...]
    done: tuple[str, ...]
    dead: tuple[LetterLine, ...] = ()


# In the order in which they are seen to: what can hurt somebody comes first.
SORTS: dict[Role, dict[str, Sort]] = {
    Role.SAFETY: {
        "held out": Sort(
            "item on hold is still out",
            "items on hold are still out",
            "item on hold out",
            "/holds",
            urgent=True,
        ),
        "overdue out": Sort(
            "item is out although something on it is overdue",
            "items are out although something on them is overdue",
            "overdue item out",
            "/review",
            urgent=True,
        ),
        "failed": Sort(
            "certificate failed as found and is not decided",
            "certificates failed as found and are not decided",
            "failed certificate",
            "/review/certificates",
            urgent=True,
        ),
        "joints to decide": Sort(
            "joint of an impact review to decide",
            "joints of impact reviews to decide",
            "joint to decide",
            "/impact",
            urgent=True,
        ),
        "reviews": Sort("impact review to close", "impact reviews to close", "review open", "/impact"),
        "certificates": Sort(
            "certificate to accept or refuse",
            "certificates to accept or refuse",
            "certificate to accept",
            "/review/certificates",
        ),
        "concessions": Sort("concession is running", "concessions are running", "concession", "/concessions"),
        "proposals": Sort(
            "proposed interval to take or decline",
            "proposed intervals to take or decline",
            "interval proposed",
            "/review/intervals",
        ),
        "dead": Sort(
            "letter was not delivered", "letters were not delivered", "dead letter", "", urgent=True
        ),
        "late entries": Sort(
            "correction or late entry this week",
            "corrections and late entries this week",
            "correction or late entry",
            "/day-book/late",
        ),
    },
    Role.KEEPER: {
        "late": Sort("item is late back", "items are late back", "late return", "/out", urgent=True),
        "kits": Sort(
            "job has a kit to hand out by tomorrow",
            "jobs have a kit to hand out by tomorrow",
            "kit to hand out",
            "/reserved",
        ),
        "ready": Sort(
            "hold can be released: its evidence is on record",
            "holds can be released: their evidence is on record",
            "hold to release",
            "/holds",
        ),
        "overdue in": Sort(
            "item on the shelf is overdue", "items on the shelf are overdue", "overdue item in", "/due"
        ),
        "due": Sort("item comes due within a week", "items come due within a week", "item due", "/due"),
        "away late": Sort(
            "item is late from a laboratory or workshop",
            "items are late from a laboratory or workshop",
            "item late from away",
            "/away",
            urgent=True,
        ),
        "to take in": Sort(
            "item came back without its certificate: take it in",
            "items came back without their certificates: take them in",
            "certificate to take in",
            "/away",
        ),
    },
    Role.PLANNER: {
        "against": Sort(
            "warning stands against what is reserved",
            "warnings stand against what is reserved",
            "warning",
            "/reserved",
            urgent=True,
        ),
        "expires": Sort(
            "reservation ends soon unless it is fetched",
            "reservations end soon unless they are fetched",
            "reservation that ends soon",
            "/reserved",
        ),
        "unserved": Sort(
            "joint of the next four weeks has no wrench",
            "joints of the next four weeks have no wrench",
            "joint without a wrench",
            "/weeks",
            urgent=True,
        ),
    },
}
# Of these the day named is one to come.
AHEAD = {"kits": "first", "due": "first", "expires": "first", "against": "first", "unserved": "first"}


class Start:
    """One look at what waits."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/", self.show, methods=["GET"], response_model=None)
        return router

    def show(self, request: Request) -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, now):
            told = {
                "open": [line for line in letters_for(db, who.person_id) if is_open(line)],
                "parts": list(parts_of(db, who, now)),
            }
        return draw(request, self._room, "start.html", who, 200, **told)


def parts_of(db: Connection, who: Visitor, now: datetime) -> Iterator[Part]:
    """What each role of theirs has to see to, site by site."""
    for site in own_sites(db, who):
        for role in (Role.SAFETY, Role.KEEPER, Role.PLANNER):
            if (site.id, role) in who.roles:
                yield _part(db, site, role, now)


def _part(db: Connection, site: SiteLine, role: Role, now: datetime) -> Part:
    found = {name: (one.count, one.since) for name, one in waits(db, site, role, now).items()}
    dead: tuple[LetterLine, ...] = ()
    if role is Role.SAFETY:
        dead = tuple(dead_letters(db, site, since=iso_week(site.today(now - DEAD_FOR))))
        found |= {"dead": (len(dead), None), "late entries": _late(db, site, now)}
    elif role is Role.KEEPER:
        ready = ready_holds(db, site, safety=False)
        found["ready"] = (len(ready), min((one.opened_on for one in ready), default=None))
    else:
        found |= _reserved(db, site, now)
    needs, done = [], []
    for name, sort in SORTS[role].items():
        count, since = found[name]
        if not count:
            done.append(sort.none)
            continue
        words = sort.one if count == 1 else sort.many
        way = f"{sort.way}?site={site.code}" if sort.way else ""
        needs.append(Need(count, words, since, way, sort.urgent, AHEAD.get(name, "since")))
    return Part(site, role, tuple(needs), tuple(done), dead)


def _late(db: Connection, site: SiteLine, now: datetime) -> tuple[int, date | None]:
    found = late_entries(db, site, since=now - LOOK_BACK)
    return len(found), site.today(found[-1].recorded_at) if found else None


def _reserved(db: Connection, site: SiteLine, now: datetime) -> dict[str, tuple[int, date | None]]:
    days: dict[str, list[date]] = {"against": [], "expires": []}
    for matter in reserved_matters(db, site, now):
        if matter.kind in (MatterKind.AGAINST, MatterKind.EXPIRES):
            days[matter.kind.value].append(matter.day)
    return {name: (len(found), min(found, default=None)) for name, found in days.items()}
