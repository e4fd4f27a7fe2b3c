"""Use noted late and entries reversed: the meter always equals the sum of the ledger."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select

from fleet import records
from fleet.desk.usage import Booked, UseSlip, note_use, reverse_use
from fleet.ledgers.due_lines import refresh
from fleet.refusals import NotFound, NotPossible
from tests.shop import TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop


@pytest.fixture
def tag(shop: Shop) -> str:
    site = shop.site()
    shop.person("K1", site, "keeper")
    shop.task("calibration", "wrench", every_cycles=5000)
    return shop.item(shop.model("wrench"), site)[1]


def note(room: Room, shop: Shop, tag: str, cycles: int, minutes: int = 0, client: str = "u") -> Booked:
    slip = UseSlip(client, tag, cycles, minutes, TODAY, "Test run after repair")
    by = shop.actor("K1")
    with room.act() as db:
        return note_use(db, slip, by=by, now=room.now(db))


def reverse(room: Room, shop: Shop, entry: int, reason: str = "Typed one nought too many") -> Booked:
    by = shop.actor("K1")
    with room.act() as db:
        return reverse_use(db, entry, reason, client_id=f"rev{entry}", by=by, now=room.now(db))


def test_a_reversal_is_a_second_entry(room: Room, shop: Shop, tag: str) -> None:
    first = note(room, shop, tag, 400, 30)

    second = reverse(room, shop, first.entry)

    assert (second.cycles, second.minutes, second.total_cycles) == (-400, -30, 0)
    with room.look() as db:
        entries = db.execute(select(records.UsageRow.cycles).order_by(records.UsageRow.id)).scalars().all()
    assert entries == [400, -400]


def test_an_entry_is_reversed_only_once(room: Room, shop: Shop, tag: str) -> None:
    first = note(room, shop, tag, 400)
    second = reverse(room, shop, first.entry)

    assert reverse(room, shop, first.entry).again
    by = shop.actor("K1")
    for entry, said in ((first.entry, "already reversed"), (second.entry, "is itself a reversal")):
        with pytest.raises(NotPossible, match=said), room.act() as db:
            reverse_use(db, entry, "Another reason for it", client_id="x", by=by, now=room.now(db))


@pytest.mark.parametrize("late", [0, 30])
def test_what_was_taken_back_does_not_lengthen_the_next_round(
    room: Room, shop: Shop, tag: str, late: int
) -> None:
    """A nought too many before a calibration would else be run off after it, up to twice the interval."""
    wrong = note(room, shop, tag, 400)
    with room.look() as db:
        item, task = db.execute(select(records.DueLineRow.item_id, records.DueLineRow.task_id)).one()
    shop.did(item, task, TODAY, cycles=400)
    if late:
        # Entered later, maybe of before the calibration: it was not on the meter then, and counts as since.
        note(room, shop, tag, late, client="late")

    reverse(room, shop, wrong.entry)

    with room.look() as db:
        due = db.execute(select(records.DueLineRow.due_cycles, records.DueLineRow.use_left)).one()
    assert tuple(due) == (5000, (5000 - late) / 5000)


def test_use_of_the_same_day_after_a_correction_does_not_move_the_limit(
    room: Room, shop: Shop, tag: str, clock: Clock
) -> None:
    """Taken back, then used: what the counter adds to the meter is since the calibration, even that day."""
    wrong = note(room, shop, tag, 400)
    with room.look() as db:
        item, task = db.execute(select(records.DueLineRow.item_id, records.DueLineRow.task_id)).one()
    shop.did(item, task, TODAY, cycles=400)
    reverse(room, shop, wrong.entry)
    stand = select(records.DueLineRow.due_cycles, records.DueLineRow.use_left)

    clock.pass_by(minutes=5)
    note(room, shop, tag, 16, client="afterwards")
    with room.look() as db:
        written = tuple(db.execute(stand).one())
    shop.refresh(item)
    with room.look() as db:
        worked_out = tuple(db.execute(stand).one())

    assert written == worked_out == (5000, (5000 - 16) / 5000)


def test_a_reversal_needs_its_reason(room: Room, shop: Shop, tag: str) -> None:
    first = note(room, shop, tag, 400)

    with pytest.raises(NotPossible, match="why the entry is wrong"):
        reverse(room, shop, first.entry, reason="oops")


def test_what_was_never_booked_cannot_be_reversed(room: Room, shop: Shop, tag: str) -> None:
    assert tag
    with pytest.raises(NotFound, match="no usage entry 77"):
        reverse(room, shop, 77)


def test_use_is_not_noted_ahead(room: Room, shop: Shop, tag: str) -> None:
    by = shop.actor("K1")
    slip = UseSlip("u", tag, 1, 0, TODAY + timedelta(days=1), "Test run after repair")

    with pytest.raises(NotPossible, match="still to come"), room.act() as db:
        note_use(db, slip, by=by, now=room.now(db))


def test_use_is_not_noted_before_the_item_came(room: Room, shop: Shop, tag: str) -> None:
    by = shop.actor("K1")
    slip = UseSlip("u", tag, 1, 0, TODAY - timedelta(days=401), "Test run after repair")

    with pytest.raises(NotPossible, match="was only received on 8 Apr 2025"), room.act() as db:
        note_use(db, slip, by=by, now=room.now(db))


def test_an_id_stands_for_one_entry_only(room: Room, shop: Shop, tag: str) -> None:
    first = note(room, shop, tag, 400)
    _, other = shop.item(shop.model("pump"), 1)

    with pytest.raises(NotPossible, match="The id 'u' was used before, for something else"):
        note(room, shop, other, 400)
    reverse(room, shop, first.entry)
    with pytest.raises(NotPossible, match="was used before, for something else"):
        note(room, shop, tag, 5, client=f"rev{first.entry}")


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    acts=st.lists(st.tuples(st.integers(0, 900), st.integers(0, 300), st.booleans()), min_size=1, max_size=6)
)
def test_the_meter_is_the_sum_of_the_ledger(
    room: Room, shop: Shop, acts: list[tuple[int, int, bool]]
) -> None:
    if not shop.known:
        site = shop.site()
        shop.person("K1", site, "keeper")
        shop.task("calibration", "wrench", every_cycles=5000)
        shop.known.append(site)
    item, tag = shop.item(shop.model("wrench"), shop.known[0])
    for at, (cycles, minutes, wrong) in enumerate(acts):
        booked = note(room, shop, tag, cycles, minutes, client=f"{tag}/{at}")
        if wrong:
            reverse(room, shop, booked.entry)

    kept = sum(cycles for cycles, _, wrong in acts if not wrong)
    with room.look() as db:
        meter = db.execute(select(records.ItemRow.cycles).where(records.ItemRow.id == item)).scalar()
        of_item = records.UsageRow.item_id == item
        total = db.execute(select(func.sum(records.UsageRow.cycles)).where(of_item)).scalar()
        lines = select(records.DueLineRow.use_left, records.DueLineRow.forecast_on).where(
            records.DueLineRow.item_id == item
        )
        kept_up = db.execute(lines).one()
    assert meter == total == kept
    with room.act() as db:
        refresh(db, [item], lambda _site: TODAY)
        assert db.execute(lines).one() == kept_up
