"""Undoing a return: every entry stays, a second one takes it back, and all stands as before."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select, update

from fleet import records
from fleet.desk.away import SendSlip, send_away
from fleet.desk.undoing import undo_return
from fleet.lists.matters import matters, untold
from fleet.lists.served import served
from fleet.lists.sites import find_site
from fleet.records.base import rows_of
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.conditions import HoldCause
from fleet.rules.evidence import Errand
from tests.shop import NOON
from tests.undoing import Counter, open_counter

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop


@pytest.fixture
def counter(room: Room, shop: Shop, clock: Clock) -> Counter:
    return open_counter(room, shop, clock)


@pytest.mark.parametrize("cycles", [0, 40, 150])
def test_after_a_return_is_undone_all_stands_as_before(counter: Counter, cycles: int) -> None:
    """Also when its use had used up the calibration."""
    counter.issue()
    before = counter.stand()
    counter.clock.pass_by(minutes=3)
    receipt = counter.take_back(cycles=cycles)
    assert receipt.due_by_use == (("calibration",) if cycles > 100 else ())
    assert counter.stand() != before

    undone = counter.undo_return()

    assert counter.stand() == before
    assert (undone.tags, undone.job, undone.holder) == ((counter.tag,), "J-1", "Fin Fitter")
    assert counter.rows(records.UsageRow, "cycles", "minutes", "reverses_id") == [
        (cycles, 90, None),
        (-cycles, -90, 1),
    ]
    assert counter.acts() == ["issued", "returned", "use reversed", "return undone"]


def test_what_was_undone_can_come_back_again_and_be_undone_again(counter: Counter) -> None:
    counter.issue()
    before = counter.stand()
    for at in range(3):
        counter.take_back(f"r{at}")
        counter.undo_return(f"u{at}")
        assert counter.stand() == before
    assert counter.take_back("last", cycles=7, minutes=8).total_cycles == 7


def test_the_same_undo_sent_twice_acts_once(counter: Counter) -> None:
    counter.issue()
    counter.take_back()
    counter.undo_return()
    entries = len(counter.acts())
    assert counter.undo_return().again
    assert len(counter.acts()) == entries
    with pytest.raises(NotPossible, match="is out with Fin Fitter; there is no return to undo"):
        counter.undo_return("another")


def test_only_who_took_it_back_undoes_it_and_only_for_ten_minutes(counter: Counter) -> None:
    counter.issue()
    counter.take_back()
    with pytest.raises(NotAllowed, match="can be undone by Kim Keeper only"):
        counter.undo_return(by="K2")
    with pytest.raises(NotAllowed, match="not a keeper"):
        counter.undo_return(by="S1")
    counter.clock.pass_by(minutes=10, seconds=1)
    with pytest.raises(NotPossible, match=r"more than 10 minutes ago and stands\. If its use is wrong"):
        counter.undo_return()
    counter.clock.now -= timedelta(seconds=1)
    counter.undo_return()


def test_nothing_is_undone_after_something_followed(counter: Counter) -> None:
    counter.issue()
    counter.take_back()
    with counter.room.act() as db:
        slip = SendSlip("s1", counter.tag, "The workshop", Errand.REPAIR)
        send_away(db, slip, by=counter.shop.actor("K1"), now=counter.room.now(db))
    with pytest.raises(NotPossible, match="it was sent away since"):
        counter.undo_return()


def test_what_went_out_again_stays_with_whoever_has_it(counter: Counter) -> None:
    counter.issue()
    counter.take_back()
    with counter.room.look() as db:
        line = db.execute(select(records.LoanLineRow.id)).scalar_one()
    counter.issue(client="i2")
    with pytest.raises(NotPossible, match="it went out again since"), counter.room.act() as db:
        undo_return(db, line, client_id="u1", by=counter.shop.actor("K1"), now=counter.room.now(db))
    with pytest.raises(NotFound), counter.room.act() as db:
        undo_return(db, 999, client_id="u1", by=counter.shop.actor("K1"), now=counter.room.now(db))


def test_the_hold_of_its_damage_ends_and_no_other(counter: Counter) -> None:
    counter.issue()
    other = counter.shop.put(
        records.HoldRow,
        item_id=counter.item,
        cause=HoldCause.DAMAGED,
        reason="Dropped last week",
        opened_at=NOON - timedelta(days=7),
    )
    before = counter.stand()
    counter.take_back(condition="damaged", note="Hook bent")
    held = max(number for (number,) in counter.rows(records.HoldRow, "id"))

    assert counter.undo_return().holds == (held,)

    assert counter.stand() == before
    rows = dict(counter.rows(records.HoldRow, "id", "evidence"))
    assert rows == {other: None, held: "Its return was undone at the counter."}
    assert counter.acts()[1:] == ["hold opened", "returned", "use reversed", "hold released", "return undone"]


def test_nobody_is_told_of_a_hold_that_was_undone(counter: Counter) -> None:
    counter.issue()
    counter.take_back(condition="damaged", note="Hook bent")
    counter.undo_return()
    with counter.room.look() as db:
        assert untold(db, find_site(db, "NORTH"), counter.room.now(db)) == []


def test_nobody_is_told_twice_that_it_is_late(counter: Counter) -> None:
    counter.issue()
    counter.clock.pass_by(days=7)
    with counter.room.look() as db:
        (late,) = matters(db, find_site(db, "NORTH"), counter.room.now(db))
    counter.take_back()
    counter.undo_return()
    with counter.room.look() as db:
        assert matters(db, find_site(db, "NORTH"), counter.room.now(db)) == [late]


def test_its_breakouts_are_withdrawn(counter: Counter) -> None:
    counter.shop.put(
        records.JointRow,
        job_id=counter.job,
        mark="E-1",
        bolts=8,
        torque_written="1000 N·m",
        torque_nm=1000.0,
    )
    counter.issue()
    counter.take_back(breakouts=(("E-1", "1300 N·m"), ("E-1", "40 MPa")))
    counter.undo_return()
    rows = counter.rows(records.BreakoutRow, "withdraws_id", "reason")
    assert rows == [
        (None, None),
        (None, None),
        *((at, "Its return was undone at the counter.") for at in (1, 2)),
    ]
    assert counter.acts()[-4:] == ["use reversed", *["breakout withdrawn"] * 2, "return undone"]


def test_the_rest_of_its_kit_serves_what_is_planned_for_it_again(counter: Counter) -> None:
    hose = counter.shop.item(counter.shop.model("hose"), counter.site)[1]
    counter.issue(counter.tag, hose)
    lines = rows_of(records.LoanLineRow)
    with counter.room.act() as db:
        db.execute(update(lines).where(lines.c.item_id == counter.item).values(planned_cycles=60))
    counter.take_back()
    counter.undo_return()
    with counter.room.look() as db:
        found = served(db, 2)
    assert found is not None
    assert found.cycles == 60
