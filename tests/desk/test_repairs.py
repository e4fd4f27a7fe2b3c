"""Repairs make tasks due at once; mistaken entries count for nothing; an item's own limit goes before all."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import select

from fleet.desk.returns import ReturnSlip, take_back
from fleet.lists.exports import export_sheets
from fleet.records import (
    AwayRow,
    DueLineRow,
    EntryRow,
    ItemRow,
    LimitRow,
    RepairRow,
    TaskAfterRepairRow,
    UpkeepRow,
)
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.evidence import Work
from tests.proofs import inspected, repaired
from tests.shop import NOON, TODAY
from tests.workbench import Bench

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop


@pytest.fixture
def bench(room: Room, shop: Shop, clock: Clock) -> Bench:
    site = shop.site()
    shop.person("K1", site, "keeper")
    shop.person("F1", site)
    task = shop.task("calibration", "wrench", every_months=12, every_cycles=1000)
    shop.put(TaskAfterRepairRow, task_id=task, work="seal kit")
    item, tag = shop.item(shop.model("wrench"), site)
    shop.did(item, task, TODAY - timedelta(days=30))
    return Bench(room, shop, clock, site, task, item, tag)


# --- Repairs ------------------------------------------------------------------------------------------------


def test_a_repair_makes_what_is_listed_for_it_overdue_at_once(bench: Bench) -> None:
    done = bench.repair()
    assert (done.number, done.due_again, done.on_hold) == (1, ("calibration",), False)
    assert bench.due() == TODAY - timedelta(days=1)
    with bench.room.look() as db:
        entry = db.execute(select(EntryRow.act, EntryRow.about, EntryRow.body)).one()
    assert (entry.act, entry.about) == ("repaired", bench.tag)
    assert '"due_again":["calibration"]' in entry.body


def test_other_work_makes_nothing_due(bench: Bench) -> None:
    before = bench.due()
    assert bench.repair(Work.OTHER).due_again == ()
    assert bench.due() == before


def test_it_is_done_again_by_a_later_entry_also_on_the_same_day(bench: Bench) -> None:
    bench.repair()
    bench.clock.pass_by(minutes=5)
    bench.calibrate()
    assert bench.due() == date(2027, 5, 13)


def test_what_was_recorded_before_the_repair_on_the_same_day_does_not_count(bench: Bench) -> None:
    bench.calibrate()
    bench.clock.pass_by(minutes=5)
    bench.repair()
    assert bench.due() == TODAY - timedelta(days=1)


def test_an_older_certificate_recorded_after_the_repair_does_not_count(bench: Bench) -> None:
    bench.repair()
    bench.clock.pass_by(minutes=5)
    bench.calibrate(TODAY - timedelta(days=3))
    assert bench.due() == TODAY - timedelta(days=1)


def test_a_repair_recorded_late_undoes_only_what_was_done_before_it(bench: Bench) -> None:
    bench.calibrate()
    assert bench.repair(on=TODAY - timedelta(days=3)).due_again == ()
    assert bench.due() == date(2027, 5, 13)


def test_a_task_of_the_model_itself_is_due_after_a_repair_listed_for_its_kind(bench: Bench) -> None:
    with bench.room.look() as db:
        model = db.execute(select(ItemRow.model_id)).scalar_one()
    bench.shop.task("calibration", "wrench", model_id=model, every_cycles=500)
    bench.shop.refresh(bench.item)
    assert bench.due() is None
    assert bench.repair().due_again == ("calibration",)
    assert bench.due() == TODAY - timedelta(days=1)


def test_what_counts_from_assembly_is_not_made_due_by_a_repair(bench: Bench) -> None:
    task = bench.shop.task("life", "hose", every_months=72, counts_from="assembly")
    bench.shop.put(TaskAfterRepairRow, task_id=task, work="coupling changed")
    hose, tag = bench.shop.item(bench.shop.model("hose"), bench.site)
    assert bench.repair(Work.COUPLING_CHANGED, item=tag).due_again == ()
    with bench.room.look() as db:
        due_on = db.execute(select(DueLineRow.due_on).where(DueLineRow.item_id == hose)).scalar_one()
    assert due_on == date(2031, 5, 13)


def test_a_return_keeps_what_a_repair_made_overdue(bench: Bench) -> None:
    bench.repair()
    bench.lend()
    by = bench.shop.actor("K1")
    with bench.room.act() as db:
        take_back(db, ReturnSlip("ret", bench.tag, 10, 0, "fine"), by=by, now=NOON)
    assert bench.line().first_on == TODAY - timedelta(days=1)


def test_a_repeated_repair_is_recorded_once(bench: Bench) -> None:
    first, second = bench.repair(), bench.repair()
    assert (first.number, first.again, second.number, second.again) == (1, False, 1, True)
    with pytest.raises(NotPossible, match="was used"):
        bench.repair(Work.OTHER)


def test_what_is_not_here_was_not_repaired_here(bench: Bench) -> None:
    def refused(sentence: str, **more: Any) -> None:  # noqa: ANN401  Fields of a slip.
        with pytest.raises((NotPossible, NotAllowed), match=sentence):
            bench.repair(**more)
        with bench.room.look() as db:
            assert db.execute(select(RepairRow.id)).all() == []

    refused("is still to come", on=TODAY + timedelta(days=1))
    refused("was only received on", on=TODAY - timedelta(days=401))
    refused("is not a keeper", badge="F1")
    away = {
        "client_id": "a",
        "item_id": bench.item,
        "errand": "repair",
        "sent_to": "Bench 4",
        "sent_at": NOON,
    }
    bench.shop.put(AwayRow, **away)
    refused("is away at Bench 4. Take it back from there first")
    bench.lend()
    refused("is out with Fin Fitter. Take it back first")


# --- Mistakes -----------------------------------------------------------------------------------------------


def test_a_withdrawn_entry_counts_for_nothing_and_stays_on_record(bench: Bench) -> None:
    before = bench.due()
    entry = bench.calibrate()
    assert bench.due() == date(2027, 5, 13)
    undone = bench.withdraw(entry)
    assert (undone.withdraws, undone.done.due_on, bench.due()) == (entry, before, before)
    with bench.room.look() as db:
        kept = db.execute(select(UpkeepRow.withdraws_id, UpkeepRow.reason).order_by(UpkeepRow.id)).all()
    assert [tuple(row) for row in kept] == [(None, None), (None, None), (entry, "It was the other wrench")]


def test_a_withdrawn_entry_does_not_come_back_by_way_of_a_sheet(bench: Bench) -> None:
    bench.withdraw(bench.calibrate())
    with bench.room.look() as db:
        (sheet,) = export_sheets(db, ["upkeep done"])
    assert [row[2] for row in sheet.rows] == [str(TODAY - timedelta(days=30))]


def test_what_undid_a_repair_is_overdue_again_when_it_is_withdrawn(bench: Bench) -> None:
    bench.repair()
    bench.clock.pass_by(minutes=5)
    entry = bench.calibrate()
    bench.withdraw(entry)
    assert bench.due() == TODAY - timedelta(days=1)


def test_an_entry_is_withdrawn_once_and_a_withdrawal_never(bench: Bench) -> None:
    entry = bench.calibrate()
    second = bench.withdraw(entry)
    assert bench.withdraw(entry).again
    with pytest.raises(NotPossible, match=f"was already withdrawn by entry {second.entry}"):
        bench.withdraw(entry, client="w-2")
    with pytest.raises(NotPossible, match=f"itself withdraws entry {entry}"):
        bench.withdraw(second.entry, client="w-3")
    with pytest.raises(NotFound, match="no entry 99"):
        bench.withdraw(99, client="w-4")
    with pytest.raises(NotPossible, match="why the entry is wrong"):
        bench.withdraw(1, "oops", client="w-5")


def test_an_entry_that_an_inspection_proves_goes_with_the_inspection(bench: Bench) -> None:
    seen = inspected(bench.shop, bench.item, NOON)
    entry = bench.shop.put(
        UpkeepRow,
        client_id="proved",
        item_id=bench.item,
        task_id=bench.task,
        done_on=TODAY,
        cycles_at=0,
        minutes_at=0,
        recorded_at=NOON,
        inspection_id=seen,
    )
    with pytest.raises(NotPossible, match=f"rests on inspection {seen}"):
        bench.withdraw(entry)


# --- Limits of one item -------------------------------------------------------------------------------------


def test_an_items_own_limit_goes_before_the_tasks_clock_and_leaves_its_others(bench: Bench) -> None:
    bench.limit(every_months=6)
    bench.shop.refresh(bench.item)
    assert (bench.due(), bench.line().due_cycles) == (date(2026, 10, 13), 1000)


def test_a_limit_that_ended_counts_no_more(bench: Bench) -> None:
    limit = bench.limit(every_months=6)
    table = LimitRow.__table__
    with bench.room.act() as db:
        db.execute(table.update().where(table.c.id == limit).values(ended_at=NOON, end_reason="Withdrawn"))  # type: ignore[attr-defined]
    bench.shop.refresh(bench.item)
    assert bench.due() == date(2027, 4, 13)


def test_a_return_counts_against_the_items_own_limit(bench: Bench) -> None:
    bench.limit(every_cycles=100)
    bench.shop.refresh(bench.item)
    bench.lend()
    by = bench.shop.actor("K1")
    with bench.room.act() as db:
        receipt = take_back(db, ReturnSlip("ret", bench.tag, 25, 0, "fine"), by=by, now=NOON)
    assert (receipt.due_by_use, bench.line().use_left) == ((), pytest.approx(0.75))
    again = bench.line()
    bench.shop.refresh(bench.item)
    assert bench.line() == again


def test_working_out_many_items_at_once_gives_what_working_out_each_gives(bench: Bench) -> None:
    with bench.room.look() as db:
        model = db.execute(select(ItemRow.model_id)).scalar_one()
    items = [bench.item] + [bench.shop.item(model, bench.site)[0] for _ in range(4)]
    repaired(bench.shop, items[1], NOON)
    bench.limit(every_months=3)
    bench.shop.did(items[2], bench.task, TODAY)
    for item in items:
        bench.shop.refresh(item)

    def all_lines() -> list[Any]:
        with bench.room.look() as db:
            return [
                tuple(row) for row in db.execute(select(DueLineRow.__table__).order_by(DueLineRow.item_id))
            ]

    one_by_one = all_lines()
    bench.shop.refresh(*items)
    assert all_lines() == one_by_one
    assert len(one_by_one) == len(items)
