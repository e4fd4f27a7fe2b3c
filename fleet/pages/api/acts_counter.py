"""At the counter and for the planner: issue, return, use, reservations; and letters that were read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.parts import Kind
from fleet.desk.acknowledging import acknowledge
from fleet.desk.loans import IssueSlip, issue
from fleet.desk.reservations import ReserveSlip, reserve, set_free
from fleet.desk.returns import ReturnSlip, take_back
from fleet.desk.usage import UseSlip, note_use, reverse_use
from fleet.lists.letters import letters_for
from fleet.lists.usage import item_of_use
from fleet.measures.times import read_day, read_moment, zone
from fleet.pages.api.asked import (
    IssueRequest,
    Nothing,
    NumberInPath,
    ReasonRequest,
    ReserveRequest,
    ReturnRequest,
    SetFreeRequest,
    UseRequest,
)
from fleet.pages.api.once import Done, do_once
from fleet.pages.api.own import item_of, job_of
from fleet.pages.api.shapes import Shape
from fleet.pages.api.shapes_of_acts import (
    BookedUse,
    IssuedLoan,
    ReadLetter,
    Reserved,
    ReturnReceipt,
    SetFree,
)
from fleet.pages.finding import own_sites
from fleet.refusals import NotFound, NotPossible, Unreadable
from fleet.rules.conditions import Condition
from fleet.rules.item_classes import make_class
from fleet.rules.tokens import Scope

if TYPE_CHECKING:
    from fleet.pages.api.bearer import Asking, Gate
    from fleet.rules.item_classes import Wanted


class CounterActs:
    """Each address is one act of the desk."""

    def __init__(self, gate: Gate) -> None:
        self._gate = gate

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(tags=["acts"])
        acts: tuple[tuple[str, object, type[Shape]], ...] = (
            ("/issues", self.issue, IssuedLoan),
            ("/returns", self.take_back, ReturnReceipt),
            ("/uses", self.note_use, BookedUse),
            ("/uses/{entry}/reverse", self.reverse_use, BookedUse),
            ("/reservations", self.reserve, Reserved),
            ("/reservations/set-free", self.set_free, SetFree),
            ("/letters/{letter}/acknowledge", self.acknowledge, ReadLetter),
        )
        for path, answer, shape in acts:
            router.add_api_route(path, answer, methods=["POST"], response_model=shape)  # type: ignore[arg-type]  # Each takes what it asks for.
        return router

    def issue(self, request: Request, asked: IssueRequest) -> Response:
        """Hand items out, all or none."""

        def act(asking: Asking, request_id: str) -> Done:
            job, site = job_of(asking, asked.job)
            tags = tuple(item_of(asking, one)[0].tag for one in asked.items)
            slip = IssueSlip(request_id, tags, asked.borrower, job.code, read_day(asked.back_on))
            done = issue(asking.db, slip, by=asking.who.actor, now=asking.now)
            return Done(site.id, IssuedLoan.model_validate(done))

        return do_once(self._gate, request, Scope.COUNTER, asked, act)

    def take_back(self, request: Request, asked: ReturnRequest) -> Response:
        """Take one item back and book its use; damage puts it on hold."""

        def act(asking: Asking, request_id: str) -> Done:
            if asked.condition is Condition.DAMAGED and not asked.note:
                raise NotPossible("Say in the note what is damaged; it becomes the reason for the hold.")
            item, site = item_of(asking, asked.item)
            slip = ReturnSlip(
                request_id,
                item.tag,
                asked.cycles,
                asked.minutes,
                asked.condition,
                asked.note,
                tuple((one.joint, one.value) for one in asked.breakouts),
                asked.joint,
            )
            done = take_back(asking.db, slip, by=asking.who.actor, now=asking.now)
            return Done(site.id, ReturnReceipt.model_validate(done))

        return do_once(self._gate, request, Scope.COUNTER, asked, act)

    def note_use(self, request: Request, asked: UseRequest) -> Response:
        """Book use that no return reported."""

        def act(asking: Asking, request_id: str) -> Done:
            item, site = item_of(asking, asked.item)
            on = read_day(asked.used_on) if asked.used_on else site.today(asking.now)
            job = job_of(asking, asked.job)[0].code if asked.job else None
            slip = UseSlip(
                request_id, item.tag, asked.cycles, asked.minutes, on, asked.note, job, asked.joint
            )
            done = note_use(asking.db, slip, by=asking.who.actor, now=asking.now)
            return Done(site.id, BookedUse.model_validate(done))

        return do_once(self._gate, request, Scope.COUNTER, asked, act)

    def reverse_use(self, request: Request, entry: NumberInPath, asked: ReasonRequest) -> Response:
        """Take a wrong entry of the usage ledger back by a second one."""

        def act(asking: Asking, request_id: str) -> Done:
            tag = item_of_use(asking.db, entry)
            if tag is None:
                raise NotFound(f"There is no usage entry {entry} at a site of yours.")
            try:
                _item, site = item_of(asking, tag)
            except NotFound:
                raise NotFound(f"There is no usage entry {entry} at a site of yours.") from None
            done = reverse_use(
                asking.db, entry, asked.reason, client_id=request_id, by=asking.who.actor, now=asking.now
            )
            return Done(site.id, BookedUse.model_validate(done))

        return do_once(self._gate, request, Scope.COUNTER, asked, act)

    def reserve(self, request: Request, asked: ReserveRequest) -> Response:
        """Keep items for a job, all or none, by tag or any of a class."""

        def act(asking: Asking, request_id: str) -> Done:
            any_of = _class(asked)
            if not asked.items and any_of is None:
                raise Unreadable("Name the items by their tags, or say which class will do.")
            job, site = job_of(asking, asked.job)
            there = zone(job.time_zone)
            slip = ReserveSlip(
                request_id,
                tuple(item_of(asking, one)[0].tag for one in asked.items),
                job.code,
                asked.joint,
                read_moment(asked.starts_at, there) if asked.starts_at else None,
                read_moment(asked.ends_at, there, end=True) if asked.ends_at else None,
                any_of,
                asked.count,
                read_moment(asked.expires_at, there, end=True) if asked.expires_at else None,
            )
            done = reserve(asking.db, slip, by=asking.who.actor, now=asking.now)
            return Done(site.id, Reserved.model_validate(done))

        return do_once(self._gate, request, Scope.PLAN, asked, act)

    def set_free(self, request: Request, asked: SetFreeRequest) -> Response:
        """End the reservation of one item for one job."""

        def act(asking: Asking, _request_id: str) -> Done:
            job, site = job_of(asking, asked.job)
            item, _ = item_of(asking, asked.item)
            tag = set_free(asking.db, item.tag, job.code, asked.reason, by=asking.who.actor, now=asking.now)
            return Done(site.id, SetFree(tag=tag, job=job.code))

        return do_once(self._gate, request, Scope.PLAN, asked, act)

    def acknowledge(self, request: Request, letter: NumberInPath, asked: Nothing) -> Response:
        """Say that a letter was read, by whoever it came to."""

        def act(asking: Asking, _request_id: str) -> Done:
            places = {site.code: site.id for site in own_sites(asking.db, asking.who)}
            mine = letters_for(asking.db, asking.who.person_id)
            if not any(line.id == letter and line.site in places for line in mine):
                raise NotFound("There is no such letter of yours.")
            (done,) = acknowledge(asking.db, [letter], by=asking.who.actor, now=asking.now)
            return Done(places[done.site], ReadLetter.model_validate(done))

        return do_once(self._gate, request, Scope.REVIEW, asked, act)


def _class(asked: ReserveRequest) -> Wanted | None:
    if asked.any_of is None:
        return None
    wanted = asked.any_of.model_dump()
    return make_class(Kind(wanted.pop("kind")), wanted)
