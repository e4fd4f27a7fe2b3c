"""Taking back at the counter."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import func, select

from fleet import records
from fleet.desk.loans import IssueSlip, issue
from fleet.desk.returns import Receipt, ReturnSlip, take_back
from fleet.refusals import NotAllowed, NotFound, NotPossible
from tests.shop import TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop


@dataclass
class Counter:
    """A keeper, a fitter, a job, and one wrench that is out."""

    room: Room
    shop: Shop
    item: int
    tag: str

    def take_back(self, client: str = "r1", by: str = "K1", **changed: object) -> Receipt:
        usual = ReturnSlip(client, self.tag, cycles=40, minutes=90, condition="fine")
        slip = replace(usual, **changed)  # type: ignore[arg-type]
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return take_back(db, slip, by=actor, now=self.room.now(db))

    def one(self, column: object, *where: object) -> object:
        with self.room.look() as db:
            return db.execute(select(column).where(*where)).scalar()  # type: ignore[call-overload]


@pytest.fixture
def counter(room: Room, shop: Shop) -> Counter:
    site = shop.site()
    for badge, *roles in (("K1", "keeper"), ("S1", "safety officer"), ("F1",)):
        shop.person(badge, site, *roles)
    shop.task("calibration", "wrench", every_months=12, every_cycles=100)
    wrench = shop.model("wrench")
    item, tag = shop.item(wrench, site)
    with room.look() as db:
        task = db.execute(select(records.TaskRow.id)).scalar_one()
    shop.did(item, task, TODAY - timedelta(days=30))
    shop.job(site)
    with room.act() as db:
        slip = IssueSlip("i1", (tag,), "F1", "J-1", TODAY + timedelta(days=5))
        issue(db, slip, by=shop.actor("K1"), now=room.now(db))
    return Counter(room, shop, item, tag)


def test_a_return_books_use_and_moves_the_meter(counter: Counter) -> None:
    receipt = counter.take_back()

    assert receipt == Receipt(counter.tag, 40, 90, 40, 90, (), held=False)
    assert counter.one(records.ItemRow.cycles, records.ItemRow.id == counter.item) == 40
    assert counter.one(func.sum(records.UsageRow.cycles), records.UsageRow.item_id == counter.item) == 40


def test_a_return_that_uses_up_the_meter_says_so(counter: Counter) -> None:
    receipt = counter.take_back(cycles=100)

    assert receipt.due_by_use == ("calibration",)
    assert counter.one(records.DueLineRow.use_left) == 0
    assert counter.one(records.DueLineRow.forecast_on) == TODAY


def test_the_forecast_follows_the_items_own_use(counter: Counter) -> None:
    counter.take_back(cycles=50)

    # 50 of 100 cycles left, 50 used in the last 182 days: another 182 days.
    assert counter.one(records.DueLineRow.forecast_on) == TODAY + timedelta(days=182)


def test_the_same_slip_twice_is_booked_once(counter: Counter) -> None:
    first = counter.take_back()
    second = counter.take_back()

    assert second == Receipt(counter.tag, 40, 90, 40, 90, (), held=False, again=True)
    assert first.total_cycles == second.total_cycles
    assert counter.one(func.count(records.UsageRow.id)) == 1


def test_the_same_slip_is_known_again_when_the_item_has_long_gone_out_again(counter: Counter) -> None:
    counter.take_back()
    issue_again(counter)

    assert counter.take_back().again

    assert counter.one(records.LoanLineRow.item_id, records.LoanLineRow.returned_at.is_(None)) == counter.item
    assert counter.one(func.count(records.UsageRow.id)) == 1


def test_an_id_stands_for_the_return_of_one_item(counter: Counter) -> None:
    _, other = counter.shop.item(counter.shop.model("pump"), 1)
    counter.take_back()
    issue_again(counter, other)

    with pytest.raises(NotPossible, match="The id 'r1' was used before, for something else"):
        counter.take_back(item=other)

    assert counter.one(func.count(records.UsageRow.id)) == 1


def issue_again(counter: Counter, tag: str | None = None) -> None:
    with counter.room.act() as db:
        slip = IssueSlip("i2", (tag or counter.tag,), "F1", "J-1", TODAY + timedelta(days=5))
        issue(db, slip, by=counter.shop.actor("K1"), now=counter.room.now(db))


def test_a_serial_number_may_look_like_a_tag(counter: Counter) -> None:
    """One in ten serial numbers of figures has a check digit that fits; 79462-3 is nobody's tag here."""
    counter.take_back()
    _, tag = counter.shop.item(counter.shop.model("pump"), 1, serial="794623")
    issue_again(counter, tag)

    assert counter.take_back(client="r2", item="794623").tag == tag


def test_damage_opens_a_hold_in_the_same_act(counter: Counter) -> None:
    receipt = counter.take_back(condition="damaged", note="Reaction arm bent")

    assert receipt.held
    assert counter.one(records.HoldRow.reason) == "Reaction arm bent"


def test_what_is_not_out_cannot_come_back(counter: Counter) -> None:
    counter.take_back()

    with pytest.raises(NotPossible, match="is not out, so it cannot be returned"):
        counter.take_back(client="r2")


def test_same_as_planned_needs_a_plan(counter: Counter) -> None:
    with pytest.raises(NotPossible, match="No use was planned"):
        counter.take_back(cycles=None, minutes=None)

    assert counter.one(records.LoanLineRow.returned_at) is None


def test_a_fitter_does_not_take_back(counter: Counter) -> None:
    with pytest.raises(NotAllowed, match="Fin Fitter is not a keeper"):
        counter.take_back(by="F1")


def test_a_wrong_check_digit_finds_nothing(counter: Counter) -> None:
    wrong = counter.tag[:-1] + str((int(counter.tag[-1]) + 1) % 10)

    with pytest.raises(NotFound, match="its last figure does not fit"):
        counter.take_back(item=wrong)


def test_a_negative_use_is_refused_and_changes_nothing(counter: Counter) -> None:
    with pytest.raises(NotPossible, match="cannot be negative"):
        counter.take_back(cycles=-1)

    assert counter.one(records.ItemRow.cycles, records.ItemRow.id == counter.item) == 0


def test_a_clock_set_back_does_not_go_behind_the_day_book(counter: Counter) -> None:
    newest = counter.one(func.max(records.EntryRow.recorded_at))
    counter.room.clock.pass_by(days=-900)  # type: ignore[attr-defined]

    with counter.room.look() as db:
        assert counter.room.now(db) == newest
    assert counter.take_back().tag == counter.tag
    assert counter.one(records.UsageRow.used_on) == date(2026, 5, 13)
