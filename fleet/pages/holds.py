"""What is kept in, opening a hold, and letting an item go again with evidence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.holds import ReleaseSlip, open_hold, release_hold
from fleet.lists.calibrations import certificates
from fleet.lists.holds import HoldLine, holds
from fleet.lists.inspections import inspections
from fleet.lists.items import item_facts
from fleet.lists.proof_tests import proof_tests
from fleet.lists.repairs import repairs
from fleet.lists.soundness import soundness
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.pages.drawing import draw
from fleet.pages.finding import own_item, own_sites, site_among
from fleet.pages.guard import Form, Guard, Typed, go, status_of
from fleet.pages.on_item import OnItem
from fleet.pages.reading import whole, word
from fleet.refusals import NotPossible, Refusal
from fleet.rules.conditions import HoldCause
from fleet.rules.holds import Shown, ways_back

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.items import ItemLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.people import Actor

MOST_ROWS = 100
# So many of each are offered as evidence, the newest.
MOST_OFFERED = 5


class Holds(OnItem):
    """The list of holds with the form that opens one, and the release of an item."""

    def __init__(self, guard: Guard) -> None:
        super().__init__(guard)
        self._release = ("items/release.html", _told)

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/holds", self.show_holds, methods=["GET"], response_model=None)
        router.add_api_route("/holds", self.open_one, methods=["POST"], response_model=None)
        router.add_api_route("/items/{tag}/release", self.show_release, methods=["GET"], response_model=None)
        router.add_api_route("/items/{tag}/release", self.release, methods=["POST"], response_model=None)
        return router

    def show_holds(self, request: Request, site: str = "", item: str = "") -> Response:
        return self._page(request, self._guard.sure(request), site, item[:80])

    def _page(
        self,
        request: Request,
        who: Visitor,
        site: str,
        item: str,
        refused: Refusal | None = None,
        **more: object,
    ) -> Response:
        with self._guard.look() as (db, now):
            chosen = own_sites(db, who)
            where = site_among(chosen, who, site)
            found = holds(db, where, now=now)
        said = {
            "sites": chosen,
            "site": where,
            "item": item,
            "causes": [one.value for one in HoldCause if one is not HoldCause.RECALL],
            "found": found[:MOST_ROWS],
            "count": len(found),
            "error": str(refused) if refused else None,
        }
        status = status_of(refused) if refused else 200
        return draw(request, self._room, "items/holds.html", who, status, **(said | more))

    def open_one(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        try:
            cause = word(HoldCause, form.get("cause") or HoldCause.OTHER, "what it is about")
            with self._guard.act(who) as (db, by, now):
                item, site = own_item(db, who, form.get("item"))
                if cause is HoldCause.RECALL:
                    raise NotPossible("What a notice is about is kept in by a recall, at every site at once.")
                # Sent twice, it acts once: the same words of the same person are one hold.
                if not _is_open(db, item, site, form, who, now):
                    item = open_hold(db, item.tag, cause, form.get("reason"), by=by, now=now)
                kept = item_facts(db, [item.id], now=now)[item.id].kept
        except Refusal as refusal:
            return self._page(request, who, "", form.get("item"), refusal, typed=form)
        told = [f"{show_tag(item.tag)} is on hold."]
        if item.holder:
            told.append(f"It is out with {item.holder} for {item.job}: call it back.")
        told += [
            f"It is reserved for {one.job} from {show_day(one.first_day)}: tell the planner." for one in kept
        ]
        return go(f"/holds?site={site.code}", " ".join(told))

    def show_release(self, request: Request, tag: str) -> Response:
        return self.show(request, self._guard.sure(request), tag, self._release)

    def release(self, request: Request, tag: str, form: Typed) -> Response:
        who = self._guard.confirmed(request)

        def act(db: Connection, item: ItemLine, _site: SiteLine, by: Actor, now: datetime) -> str:
            done = release_hold(db, _slip(item, form), by=by, now=now)
            still = ", ".join(map(str, done.still_open))
            rest = f" It is still kept in by hold {still}." if still else ""
            released = ", ".join(map(str, done.released))
            return f"{show_tag(item.tag)} is released from hold {released}.{rest}"

        return self.act(request, who, tag, form, self._release, act)


def _is_open(  # Which item, where, what was typed, by whom and when.
    db: Connection, item: ItemLine, site: SiteLine, form: Form, who: Visitor, now: datetime
) -> bool:
    said = " ".join(form.get("reason").split())
    return any(
        (line.tag, line.reason, line.opened_by) == (item.tag, said, who.name)
        for line in holds(db, site, now=now)
    )


def _told(db: Connection, item: ItemLine, site: SiteLine, now: datetime) -> dict[str, object]:
    """Its open holds, each with what releases it, and what was done since that could be named."""
    open_holds = [line for line in holds(db, site, now=now) if line.tag == item.tag]
    state = soundness(db, item.id)
    return {
        "holds": [(line, _needs(line, state)) for line in open_holds],
        "offered": _offered(db, item, open_holds),
    }


def _needs(line: HoldLine, state: tuple[bool, bool]) -> str:
    ways = " or ".join(
        f"{'an' if way is Shown.INSPECTION else 'a'} {way.value}" for way in ways_back(line.cause, *state)
    )
    said = f"{ways} made after {show_day(line.opened_on)}"
    return (
        f"{said}, by a safety officer; or the end of the recall" if line.cause == HoldCause.RECALL else said
    )


def _offered(db: Connection, item: ItemLine, open_holds: list[HoldLine]) -> list[tuple[str, str]]:
    """What was done since the first hold was opened, by what it is and its number."""
    since = min((line.opened_on for line in open_holds), default=None)
    if since is None:
        return []
    found = [
        *(
            (Shown.INSPECTION, one.number, one.inspected_on, one.result)
            for one in inspections(db, item.id)
            if one.counts
        ),
        *((Shown.REPAIR, one.number, one.done_on, one.work) for one in repairs(db, item)),
        *(
            (Shown.PROOF_TEST, one.number, one.tested_on, "passed" if one.passed else "not passed")
            for one in proof_tests(db, item.id)
        ),
        *((Shown.CERTIFICATE, one.id, one.calibrated_on, one.standing) for one in certificates(db, item)),
    ]
    newest = sorted((one for one in found if one[2] >= since), key=lambda one: one[2], reverse=True)
    return [
        (f"{what}/{number}", f"{what} {number} of {show_day(on)}: {came_to}")
        for what, number, on, came_to in newest[: MOST_OFFERED * len(Shown)]
    ]


def _slip(item: ItemLine, form: Form) -> ReleaseSlip:
    what, _, number = form.get("evidence").partition("/")
    if not number:
        raise NotPossible("Choose what was done since that shows it sound. Without that nothing releases it.")
    hold = form.get("hold")
    return ReleaseSlip(
        item.tag,
        word(Shown, what, "what shows it sound"),
        whole(number, "its number"),
        form.get("words"),
        whole(hold, "the number of the hold") if hold not in ("", "every") else None,
        hold == "every",
    )
