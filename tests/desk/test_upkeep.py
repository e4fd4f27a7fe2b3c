"""Upkeep that was done, what it makes due next, and items that go out of service."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select

from fleet import records
from fleet.desk.loans import IssueSlip, issue
from fleet.desk.upkeep import Done, DoneSlip, record_done, retire
from fleet.desk.usage import UseSlip, note_use
from fleet.lists.due import due
from fleet.lists.items import find_item, item_facts
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.loans import Wish, judge
from tests.shop import TODAY

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.lists.due import DueLine
    from fleet.lists.items import ItemLine
    from fleet.room import Room
    from tests.shop import Shop


def ago(days: int) -> date:
    return TODAY - timedelta(days=days)


@dataclass
class Bench:
    """A keeper, and one wrench that was never calibrated."""

    room: Room
    shop: Shop
    site: int
    model: int
    task: int
    item: int
    tag: str

    def done(self, client: str = "d1", by: str = "K1", **changed: Any) -> Done:  # noqa: ANN401  Any field.
        slip = replace(DoneSlip(client, self.tag, "calibration", TODAY, "Certificate 7"), **changed)
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return record_done(db, slip, by=actor, now=self.room.now(db))

    def use(self, cycles: int, on: date) -> None:
        slip = UseSlip(f"u{cycles}/{on}", self.tag, cycles, 0, on, "Found on a job sheet")
        actor = self.shop.actor("K1")
        with self.room.act() as db:
            note_use(db, slip, by=actor, now=self.room.now(db))

    def retire(self, reason: str = "Drive worn beyond repair", by: str = "K1") -> ItemLine:
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return retire(db, self.tag, reason, by=actor, now=self.room.now(db))

    @property
    def lines(self) -> list[DueLine]:
        with self.room.look() as db:
            return due(db, self.site, until=date(2100, 1, 1), today=TODAY)

    def may_go_out(self) -> bool:
        with self.room.look() as db:
            facts = item_facts(db, [self.item], now=self.room.now(db))[self.item]
        return judge(facts, Wish("J-1", "NORTH", TODAY, TODAY)).goes_out

    def count(self, column: Any) -> int:  # noqa: ANN401  Any column.
        with self.room.look() as db:
            return int(db.execute(select(func.count(column))).scalar_one())


@pytest.fixture
def bench(room: Room, shop: Shop) -> Bench:
    site = shop.site()
    for badge, *roles in (("K1", "keeper"), ("P1", "planner"), ("S1", "safety officer")):
        shop.person(badge, site, *roles)
    task = shop.task("calibration", "wrench", every_months=12, every_cycles=5000)
    model = shop.model("wrench")
    item, tag = shop.item(model, site)
    return Bench(room, shop, site, model, task, item, tag)


# --- Done ---------------------------------------------------------------------------------------------------


def test_done_lets_it_out_again_and_says_when_it_is_due_next(bench: Bench) -> None:
    bench.use(1200, on=ago(3))
    assert not bench.may_go_out()

    done = bench.done()

    assert done == Done(bench.tag, "calibration", TODAY, date(2027, 5, 13), 6200, None, done.entry)
    assert bench.may_go_out()
    (line,) = bench.lines
    assert (line.last_done_on, line.due_on, line.due_cycles) == (TODAY, date(2027, 5, 13), 6200)
    assert line.use_left == 1.0


def test_the_meter_counts_from_the_day_it_was_done_and_not_from_the_day_it_was_written_down(
    bench: Bench,
) -> None:
    """1,000 cycles before, 400 on the day and 300 after it: those 300 are the first of the new 5,000."""
    for cycles, days in ((1000, 40), (400, 20), (300, 10)):
        bench.use(cycles, on=ago(days))

    done = bench.done(done_on=ago(20))

    assert done.due_cycles == 1400 + 5000
    (line,) = bench.lines
    assert line.use_left == pytest.approx(1 - 300 / 5000)


def test_a_certificate_found_late_does_not_undo_a_newer_one(bench: Bench) -> None:
    newer = bench.done()

    late = bench.done(client="d2", done_on=ago(200))

    assert (late.due_on, late.due_cycles) == (newer.due_on, newer.due_cycles)
    assert bench.count(records.UpkeepRow.id) == 2


def test_the_same_slip_twice_is_recorded_once(bench: Bench) -> None:
    first = bench.done()

    assert bench.done() == replace(first, again=True)
    assert bench.count(records.UpkeepRow.id) == 1
    assert bench.count(records.EntryRow.seq) == 1


def test_an_id_stands_for_one_thing_only(bench: Bench) -> None:
    _, other = bench.shop.item(bench.model, bench.site)
    bench.done()

    for changed in ({"item": other}, {"done_on": ago(1)}):
        with pytest.raises(NotPossible, match="The id 'd1' was used before, for something else"):
            bench.done(**changed)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"done_on": TODAY + timedelta(days=1)}, "14 May 2026 is still to come"),
        ({"done_on": ago(401)}, "was only received on 8 Apr 2025"),
    ],
)
def test_only_what_can_have_been_done_is_recorded(bench: Bench, changed: dict[str, Any], said: str) -> None:
    with pytest.raises(NotPossible, match=said):
        bench.done(**changed)

    assert not bench.may_go_out()
    assert bench.count(records.UpkeepRow.id) == bench.count(records.EntryRow.seq) == 0


def test_on_the_day_it_came_it_may_have_been_done(bench: Bench) -> None:
    assert bench.done(done_on=ago(400)).due_on == date(2026, 4, 8)


def test_what_counts_from_assembly_is_not_done_again(bench: Bench) -> None:
    shop = bench.shop
    shop.task("replacement", "hose", every_months=72, counts_from="assembly", stop="hard")
    _, hose = shop.item(shop.model("hose"), bench.site, assembled_on=date(2020, 5, 12))

    with pytest.raises(NotPossible, match=r"counts from its assembly\. Retire it with 'fleet retire'"):
        bench.done(item=hose, task="replacement")

    assert [line.due_on for line in bench.lines if line.kind == "hose"] == [date(2026, 5, 12)]


def test_a_task_is_named_whatever_its_case_and_an_unknown_one_names_the_known(bench: Bench) -> None:
    with pytest.raises(NotFound, match=r"\(wrench\) has no upkeep task 'oil change'. Its tasks: calibration"):
        bench.done(task="oil change")

    assert bench.done(task=" Calibration ").task == "calibration"


@pytest.mark.parametrize("badge", ["P1", "S1"])
def test_only_a_keeper_records_upkeep_and_retires(bench: Bench, badge: str) -> None:
    act: Callable[..., object]
    for act in (bench.done, bench.retire):
        with pytest.raises(NotAllowed, match="is not a keeper at North tool room"):
            act(by=badge)


def test_a_models_own_task_takes_over_the_history_of_its_kinds(bench: Bench) -> None:
    shop = bench.shop
    bench.done(done_on=ago(60))
    _, other = shop.item(shop.model("wrench"), bench.site)
    shop.task("calibration", "wrench", model_id=bench.model, every_months=6, stop="hard")

    shop.refresh(bench.item)

    own = {line.tag: line for line in bench.lines}
    assert (own[bench.tag].last_done_on, own[bench.tag].due_on) == (ago(60), date(2026, 9, 14))
    assert (own[bench.tag].due_cycles, own[bench.tag].stop) == (None, "hard")
    assert own[other].never_done
    assert bench.done(client="d2").due_on == date(2026, 11, 13)


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    acts=st.lists(
        st.tuples(st.integers(0, 399), st.integers(0, 900)), min_size=1, max_size=5, unique_by=lambda a: a[0]
    )
)
def test_in_whatever_order_it_is_written_down_the_last_done_counts(
    bench: Bench, acts: list[tuple[int, int]]
) -> None:
    """Use and upkeep of the same days, written down in any order of days."""
    item, tag = bench.shop.item(bench.model, bench.site)
    here = replace(bench, item=item, tag=tag)
    for days, cycles in acts:
        here.use(cycles, on=ago(days))
    for days, _ in acts:
        here.done(client=f"{tag}/{days}", done_on=ago(days))

    (line,) = [line for line in here.lines if line.tag == tag]
    assert line.last_done_on == ago(min(days for days, _ in acts))
    # All of the use came before the last day on which it was done, or on it.
    assert line.due_cycles == sum(cycles for _, cycles in acts) + 5000


# --- Retired ------------------------------------------------------------------------------------------------


def test_a_retired_item_keeps_its_history_and_is_due_no_more(bench: Bench) -> None:
    bench.done(done_on=ago(60))

    item = bench.retire()

    assert item.retired_on == TODAY
    assert bench.lines == []
    assert not bench.may_go_out()
    with bench.room.look() as db:
        assert find_item(db, bench.tag).retired_on == TODAY
    assert bench.count(records.UpkeepRow.id) == 1
    with pytest.raises(NotPossible, match="was retired on 13 May 2026"):
        bench.done(client="d2")
    with pytest.raises(NotPossible, match="was already retired on 13 May 2026"):
        bench.retire()


def test_what_is_out_is_taken_back_before_it_is_retired(bench: Bench) -> None:
    bench.done()
    bench.shop.person("F1", bench.site)
    bench.shop.job(bench.site)
    by = bench.shop.actor("K1")
    with bench.room.act() as db:
        issue(db, IssueSlip("i1", (bench.tag,), "F1", "J-1", TODAY), by=by, now=bench.room.now(db))

    with pytest.raises(NotPossible, match="is out with Fin Fitter"):
        bench.retire()

    with bench.room.look() as db:
        assert find_item(db, bench.tag).retired_on is None
    assert len(bench.lines) == 1


def test_nothing_is_retired_without_a_reason(bench: Bench) -> None:
    with pytest.raises(NotPossible, match="Write down why it is retired"):
        bench.retire("worn")
