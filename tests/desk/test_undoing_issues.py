"""Undoing an issue: it is taken back unused, and counts for nothing."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from fleet import records
from fleet.desk.undoing import Undone
from fleet.lists.reservations import reservations
from fleet.refusals import NotAllowed, NotFound, NotPossible
from tests.shop import NOON, TODAY
from tests.undoing import Counter, open_counter

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop


@pytest.fixture
def counter(room: Room, shop: Shop, clock: Clock) -> Counter:
    return open_counter(room, shop, clock)


def test_what_was_issued_by_mistake_is_taken_back_unused(counter: Counter) -> None:
    hose, tag = counter.shop.item(counter.shop.model("hose"), counter.site, first_out_on=None)
    loan = counter.issue(counter.tag, tag).loan
    items = dict(counter.rows(records.ItemRow, "id", "first_out_on"))
    assert items[hose] == TODAY
    due = counter.rows(records.DueLineRow)
    counter.clock.pass_by(minutes=10)

    undone = counter.undo_issue(loan)

    assert undone == Undone((counter.tag, tag), "J-1", "Fin Fitter")
    lines = counter.rows(records.LoanLineRow, "condition", "note", "returned_by_id")
    assert lines == [("fine", "Issued by mistake: taken back unused.", 1)] * 2
    assert counter.rows(records.UsageRow, "cycles", "minutes", "client_id") == [
        (0, 0, "u1/1"),
        (0, 0, "u1/2"),
    ]
    # It never was out: its time in store still counts. The wrench was out before.
    after = dict(counter.rows(records.ItemRow, "id", "first_out_on"))
    assert after == items | {hose: None}
    assert counter.rows(records.DueLineRow) == due
    assert counter.acts() == ["issued", "issue undone"]
    assert counter.undo_issue(loan).again
    assert counter.acts() == ["issued", "issue undone"]
    counter.issue(counter.tag, tag, client="i2")


def test_a_hose_that_had_been_out_before_stays_one_that_was(counter: Counter) -> None:
    hose, tag = counter.shop.item(counter.shop.model("hose"), counter.site, first_out_on=None)
    counter.issue(tag)
    counter.take_back(item=tag)
    loan = counter.issue(tag, client="i2").loan
    counter.undo_issue(loan)
    assert dict(counter.rows(records.ItemRow, "id", "first_out_on"))[hose] == TODAY


def test_an_issue_is_undone_by_whoever_issued_it_while_all_of_it_is_out(counter: Counter) -> None:
    loan = counter.issue().loan
    with pytest.raises(NotAllowed, match="The issue for J-1 can be undone by Kim Keeper only"):
        counter.undo_issue(loan, by="K2")
    with pytest.raises(NotAllowed, match="not a keeper"):
        counter.undo_issue(loan, by="S1")
    with pytest.raises(NotFound):
        counter.undo_issue(99)
    counter.take_back()
    with pytest.raises(NotPossible, match="came back already"):
        counter.undo_issue(loan)
    counter.undo_return()
    counter.clock.pass_by(minutes=11)
    with pytest.raises(
        NotPossible, match=r"more than 10 minutes ago and stands\. Take the items back instead"
    ):
        counter.undo_issue(loan)


def test_the_return_of_an_issue_by_mistake_cannot_be_undone(counter: Counter) -> None:
    counter.undo_issue(counter.issue().loan)
    with pytest.raises(NotPossible, match="the loan was undone"):
        counter.undo_return("u2")


def test_what_was_issued_by_mistake_was_not_fetched(counter: Counter) -> None:
    counter.shop.put(
        records.ReservationRow,
        client_id="res",
        item_id=counter.item,
        job_id=counter.job,
        starts_at=NOON,
        ends_at=NOON + timedelta(days=3),
        reserved_at=NOON - timedelta(days=1),
        reserved_by_id=1,
        expires_at=NOON + timedelta(hours=4),
    )

    def fetched() -> list[bool]:
        with counter.room.look() as db:
            return [bool(line.fetched) for line in reservations(db, since=counter.room.now(db))]

    loan = counter.issue().loan
    assert fetched() == [True]
    counter.undo_issue(loan)
    assert fetched() == [False]
