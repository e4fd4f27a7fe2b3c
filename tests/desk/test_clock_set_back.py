"""A clock that is set back: the room goes by its newest entry, so nothing that ran out is good again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet.desk.holds import ConcessionSlip, ReleaseSlip, grant_concession, open_hold, release_hold
from fleet.desk.inspections import InspectionSlip, record_inspection
from fleet.desk.loans import IssueSlip, issue
from fleet.desk.returns import ReturnSlip, take_back
from fleet.lists.items import item_facts
from fleet.records import CompetenceRow, HoldRow, UsageRow
from fleet.refusals import NotAllowed, NotPossible
from fleet.rules.conditions import HoldCause
from fleet.rules.evidence import Occasion
from fleet.rules.holds import Shown
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy.engine import Connection

    from fleet.room import Room
    from fleet.rules.people import Actor
    from tests.shop import Clock, Shop

A_DAY = timedelta(days=1)


@dataclass
class Store:
    """One hose whose inspection and life have a last day, and somebody who may inspect until another."""

    room: Room
    shop: Shop
    clock: Clock
    inspection: int
    item: int
    tag: str

    def act(self, what: Callable[[Connection, Actor, datetime], object], by: str = "K1") -> object:
        with self.room.act() as db:
            actor, now = self.room.sit(db, by)
            return what(db, actor, now)

    def issue(self, client: str, back_on: date) -> None:
        slip = IssueSlip(client, (self.tag,), "F1", "J-1", back_on)
        self.act(lambda db, by, now: issue(db, slip, by=by, now=now))

    def inspect(self, client: str, on: date) -> int:
        slip = InspectionSlip(client, self.tag, Occasion.PERIODIC, (), on, all_fine=True)
        with self.room.act() as db:
            actor, now = self.room.sit(db, "K1")
            return record_inspection(db, slip, by=actor, now=now).number

    def hold(self) -> int:
        self.act(
            lambda db, by, now: open_hold(
                db, self.tag, HoldCause.OTHER, "Seen at the stocktake", by=by, now=now
            )
        )
        with self.room.look() as db:
            return int(db.execute(select(HoldRow.id).order_by(HoldRow.id.desc())).scalars().first() or 0)

    def release(self, number: int) -> None:
        slip = ReleaseSlip(self.tag, Shown.INSPECTION, number, "Looked at and found sound")
        self.act(lambda db, by, now: release_hold(db, slip, by=by, now=now))

    def something_is_written_down(self) -> None:
        """About another item, so that the day book knows how late it is."""
        _, other = self.shop.item(self.shop.model("hose"), 1)
        self.act(lambda db, by, now: open_hold(db, other, HoldCause.OTHER, "Cover is chafed", by=by, now=now))


@pytest.fixture
def store(room: Room, shop: Shop, clock: Clock) -> Store:
    site = shop.site()
    people = [
        shop.person(*who) for who in (("K1", site, "keeper"), ("S1", site, "safety officer"), ("F1", site))
    ]
    inspection = shop.task("inspection", "hose", every_months=6, proved_by="inspection")
    shop.task("life", "hose", every_months=72, counts_from="assembly", stop="hard")
    # Six years on 31 May, half a year since the inspection on 12 August.
    item, tag = shop.item(shop.model("hose"), site, assembled_on=date(2020, 5, 31))
    shop.did(item, inspection, date(2026, 2, 12))
    shop.job(site, days=300)
    shop.put(
        CompetenceRow,
        person_id=people[0],
        kind="hose",
        task="inspection",
        expires_on=date(2026, 6, 30),
        evidence="Instructed",
        granted_at=NOON,
    )
    return Store(room, shop, clock, inspection, item, tag)


@pytest.mark.parametrize("back", [timedelta(hours=13), timedelta(days=30), timedelta(days=3650)])
def test_a_hose_past_its_life_stays_in_when_the_clock_is_set_back(
    store: Store, clock: Clock, back: timedelta
) -> None:
    clock.now = datetime.fromisoformat("2026-06-01T05:00:01+00:00")  # a second after the midnight of Chicago
    store.something_is_written_down()
    clock.now -= back
    with pytest.raises(NotPossible, match="Life was due 31 May 2026"):
        store.issue("out", date(2026, 6, 1))


def test_before_anything_was_written_the_clock_is_all_there_is(store: Store, clock: Clock) -> None:
    """The guard knows the newest entry, no more: said here so that nobody takes it for more than it is."""
    clock.now = datetime.fromisoformat("2026-06-01T05:00:01+00:00")
    clock.now -= timedelta(days=2)
    store.issue("out", date(2026, 5, 30))


def test_a_competence_that_ended_stays_ended(store: Store, clock: Clock) -> None:
    clock.now = datetime.fromisoformat("2026-07-01T05:00:00+00:00")
    store.something_is_written_down()
    clock.pass_by(days=-10)
    with pytest.raises(NotAllowed, match="ended on 30 Jun 2026"):
        store.inspect("late", date(2026, 6, 21))


def test_an_exception_that_ended_stays_ended(store: Store, shop: Shop, clock: Clock) -> None:
    _, other = shop.item(shop.model("hose"), 1, assembled_on=TODAY)
    store.tag = other  # Never inspected, and young.
    slip = ConcessionSlip(other, "inspection", "J-1", "K1", "no other item", "The other hose is out", 6)
    store.act(lambda db, by, now: grant_concession(db, slip, by=by, now=now), "S1")
    clock.pass_by(hours=6)
    store.something_is_written_down()
    clock.pass_by(hours=-5)
    with pytest.raises(NotPossible, match="Inspection was never done"):
        store.issue("out", TODAY)


def test_what_was_inspected_while_the_clock_stood_still_releases_nothing_yet(
    store: Store, clock: Clock
) -> None:
    """Both bear one instant, and nobody can show which came first; when time goes on, a new look serves."""
    number = store.hold()
    clock.pass_by(days=-3)
    seen = store.inspect("still", TODAY)
    with pytest.raises(NotPossible, match=f"is not newer than hold {number}"):
        store.release(seen)
    clock.pass_by(days=3, seconds=1)
    store.release(store.inspect("after", TODAY))
    store.issue("out", TODAY)


def test_a_hold_opened_while_the_clock_is_set_back_is_not_older_than_what_was_seen(
    store: Store, clock: Clock
) -> None:
    seen = store.inspect("before", TODAY)
    clock.pass_by(days=-3)
    number = store.hold()
    with pytest.raises(NotPossible, match=f"is not newer than hold {number}"):
        store.release(seen)


def test_use_is_booked_on_the_day_of_the_newest_entry(store: Store, clock: Clock) -> None:
    store.issue("out", TODAY + 5 * A_DAY)
    clock.pass_by(days=-40)
    slip = ReturnSlip("in", store.tag, 12, 30, "fine")
    store.act(lambda db, by, now: take_back(db, slip, by=by, now=now))
    with store.room.look() as db:
        assert db.execute(select(UsageRow.used_on)).scalar_one() == TODAY
        facts = item_facts(db, [store.item], now=store.room.now(db))[store.item]
        assert store.room.now(db) == NOON
    assert facts.out is None
