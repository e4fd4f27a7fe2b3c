"""Upkeep: what was done, inspections, holds and their release, concessions, sending away and back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.away import SendSlip, send_away, take_from_away
from fleet.desk.holds import ConcessionSlip, ReleaseSlip, grant_concession, open_hold, release_hold
from fleet.desk.inspections import InspectionSlip, record_inspection
from fleet.desk.upkeep import DoneSlip, record_done
from fleet.measures.times import read_day
from fleet.pages.api.asked import (
    ConcessionRequest,
    DoneRequest,
    HoldRequest,
    InspectionRequest,
    ItemRequest,
    ReleaseRequest,
    SendRequest,
)
from fleet.pages.api.once import Done, do_once
from fleet.pages.api.own import item_of, job_of
from fleet.pages.api.shapes import Shape
from fleet.pages.api.shapes_of_acts import (
    BackAgain,
    GrantedConcession,
    Inspection,
    OnHold,
    Released,
    SentAway,
    UpkeepDone,
)
from fleet.refusals import Unreadable
from fleet.rules.inspections import Given
from fleet.rules.tokens import Scope

if TYPE_CHECKING:
    from fleet.pages.api.bearer import Asking, Gate


class UpkeepActs:
    """Each address is one act of the desk."""

    def __init__(self, gate: Gate) -> None:
        self._gate = gate

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(tags=["acts"])
        acts: tuple[tuple[str, object, type[Shape]], ...] = (
            ("/upkeep", self.done, UpkeepDone),
            ("/inspections", self.inspect, Inspection),
            ("/holds", self.hold, OnHold),
            ("/holds/release", self.release, Released),
            ("/concessions", self.grant, GrantedConcession),
            ("/away", self.send, SentAway),
            ("/away/back", self.back, BackAgain),
        )
        for path, answer, shape in acts:
            router.add_api_route(path, answer, methods=["POST"], response_model=shape)  # type: ignore[arg-type]  # Each takes what it asks for.
        return router

    def done(self, request: Request, asked: DoneRequest) -> Response:
        """Record one upkeep task as done."""

        def act(asking: Asking, request_id: str) -> Done:
            item, site = item_of(asking, asked.item)
            on = read_day(asked.done_on) if asked.done_on else site.today(asking.now)
            slip = DoneSlip(request_id, item.tag, asked.task, on, asked.note)
            done = record_done(asking.db, slip, by=asking.who.actor, now=asking.now)
            return Done(site.id, UpkeepDone.model_validate(done))

        return do_once(self._gate, request, Scope.UPKEEP, asked, act)

    def inspect(self, request: Request, asked: InspectionRequest) -> Response:
        """Record an inspection; a reject puts the item on hold. Photographs go by the pages."""

        def act(asking: Asking, request_id: str) -> Done:
            item, site = item_of(asking, asked.item)
            slip = InspectionSlip(
                client_id=request_id,
                item=item.tag,
                occasion=asked.occasion,
                answers=tuple(Given(one.position, one.answer, one.remark) for one in asked.answers),
                inspected_on=read_day(asked.inspected_on) if asked.inspected_on else site.today(asking.now),
                all_fine=asked.all_fine,
                task=asked.task,
                note=asked.note,
            )
            done = record_inspection(asking.db, slip, by=asking.who.actor, now=asking.now)
            return Done(site.id, Inspection.model_validate(done))

        return do_once(self._gate, request, Scope.UPKEEP, asked, act)

    def hold(self, request: Request, asked: HoldRequest) -> Response:
        """Keep an item in from now on, wherever it is."""

        def act(asking: Asking, _request_id: str) -> Done:
            item, site = item_of(asking, asked.item)
            held = open_hold(
                asking.db, item.tag, asked.cause, asked.reason, by=asking.who.actor, now=asking.now
            )
            return Done(site.id, OnHold.model_validate(held))

        return do_once(self._gate, request, Scope.UPKEEP, asked, act)

    def release(self, request: Request, asked: ReleaseRequest) -> Response:
        """End a hold by what was done since and shows that the item is sound.

        It lifts a stop, so it needs a token made for exceptions, which lives for a day at most: its person
        proved who they are when it was made.
        """

        def act(asking: Asking, _request_id: str) -> Done:
            if asked.every and asked.hold is not None:
                raise Unreadable("Name either one hold, or every hold.")
            item, site = item_of(asking, asked.item)
            slip = ReleaseSlip(item.tag, asked.by, asked.evidence, asked.words, asked.hold, asked.every)
            done = release_hold(asking.db, slip, by=asking.who.actor, now=asking.now)
            said = Released(tag=done.item.tag, released=list(done.released), still_open=list(done.still_open))
            return Done(site.id, said)

        return do_once(self._gate, request, Scope.EXCEPTIONS, asked, act)

    def grant(self, request: Request, asked: ConcessionRequest) -> Response:
        """Let one overdue item out for one job for at most a day, by a safety officer who did not ask.

        It lifts a stop, so it needs a token made for exceptions, which lives for a day at most.
        """

        def act(asking: Asking, _request_id: str) -> Done:
            item, site = item_of(asking, asked.item)
            job, _ = job_of(asking, asked.job)
            slip = ConcessionSlip(
                item.tag,
                asked.task,
                job.code,
                asked.asked_by,
                asked.reason_code,
                asked.reason,
                asked.hours,
            )
            done = grant_concession(asking.db, slip, by=asking.who.actor, now=asking.now)
            return Done(site.id, GrantedConcession.model_validate(done))

        return do_once(self._gate, request, Scope.EXCEPTIONS, asked, act)

    def send(self, request: Request, asked: SendRequest) -> Response:
        """Send an item to a laboratory or workshop."""

        def act(asking: Asking, request_id: str) -> Done:
            item, site = item_of(asking, asked.item)
            slip = SendSlip(
                request_id,
                item.tag,
                asked.sent_to,
                asked.errand,
                asked.rule,
                asked.tolerance_percent,
                item_of(asking, asked.gauge)[0].tag if asked.gauge else None,
                read_day(asked.wanted_on) if asked.wanted_on else None,
                asked.note,
            )
            done = send_away(asking.db, slip, by=asking.who.actor, now=asking.now)
            return Done(site.id, SentAway.model_validate(done))

        return do_once(self._gate, request, Scope.UPKEEP, asked, act)

    def back(self, request: Request, asked: ItemRequest) -> Response:
        """Take an item back from a laboratory or workshop."""

        def act(asking: Asking, _request_id: str) -> Done:
            item, site = item_of(asking, asked.item)
            done = take_from_away(asking.db, item.tag, by=asking.who.actor, now=asking.now)
            return Done(site.id, BackAgain.model_validate(done))

        return do_once(self._gate, request, Scope.UPKEEP, asked, act)
