"""What an inspection keeps: photographs, the wording it asked; and mistakes withdrawn by a second entry."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from fleet import records
from fleet.desk.checklists import take_in_checklists
from fleet.desk.inspections import Shot
from fleet.lists.inspections import find_inspection, inspections
from fleet.lists.photographs import find_photograph
from fleet.refusals import NotAllowed, NotFound, NotPossible, Unreadable
from fleet.rules.checklists import Checklist
from fleet.rules.evidence import Answer, Occasion
from fleet.rules.inspections import Given
from fleet.rules.photographs import clean_photograph
from tests.inspecting import CAP, CUT, Bench, picture

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop


@pytest.fixture
def bench(room: Room, shop: Shop) -> Bench:
    return Bench(room, shop).set_up()


# --- Photographs --------------------------------------------------------------------------------------------


def test_the_same_photograph_twice_is_kept_once(bench: Bench) -> None:
    shot = clean_photograph(picture(), "a.jpg")
    other = clean_photograph(picture(80), "b.jpg")
    number = bench.inspect(answers=(CUT,), shots=(Shot(shot, 1), Shot(shot), Shot(other))).number
    bench.inspect("i2", occasion=Occasion.AFTER_EVENT, shots=(Shot(shot),))

    assert len(bench.rows(records.KeptFileRow)) == 2
    assert len(bench.rows(records.FileOfRow)) == 4
    with bench.room.look() as db:
        found = find_inspection(db, number).photographs
        assert [(one.sha256, one.position) for one in found] == [
            (shot.sha256, 1),
            (shot.sha256, None),
            (other.sha256, None),
        ]
        assert find_photograph(db, shot.sha256[:8].upper()).content == shot.content


def test_a_photograph_is_found_by_its_digest_only(bench: Bench) -> None:
    wrong = (("12345678", NotFound), ("1234567", Unreadable), ("%%%%%%%%", Unreadable))
    for asked, kind in wrong:
        with bench.room.look() as db, pytest.raises(kind, match="digest"):
            find_photograph(db, asked)


# --- Checklists of the room's own ---------------------------------------------------------------------------


def test_an_inspection_keeps_the_wording_it_was_asked(bench: Bench) -> None:
    first = bench.inspect(answers=(CAP,)).number
    own = Checklist("hose", 0, "own.csv", ("Cover", "Fittings"))
    with bench.room.act() as db:
        taken = take_in_checklists(db, [own], by=bench.shop.actor("S1"), now=bench.room.now(db))
        again = take_in_checklists(db, [own], by=bench.shop.actor("S1"), now=bench.room.now(db))
    second = bench.inspect("i2", answers=(Given(2, Answer.NOTE, "Light rust"),)).number

    assert [(one.version, new) for one, new in (*taken, *again)] == [(1, True), (1, False)]
    with bench.room.look() as db:
        before, after = find_inspection(db, first), find_inspection(db, second)
    assert (before.inspection.checklist_version, len(before.answers)) == (0, 12)
    assert (after.inspection.checklist_version, [one.wording for one in after.answers]) == (
        1,
        ["Cover", "Fittings"],
    )
    body = json.loads(bench.entries("checklist taken in")[0].body)
    assert (body["version"], len(body["added"]), len(body["left_out"])) == (1, 2, 12)


def test_only_a_safety_officer_changes_what_is_looked_at(bench: Bench) -> None:
    own = Checklist("hose", 0, "own.csv", ("Cover",))
    with bench.room.act() as db, pytest.raises(NotAllowed, match="not a safety officer"):
        take_in_checklists(db, [own], by=bench.shop.actor("K1"), now=bench.room.now(db))
    assert bench.rows(records.ChecklistRow) == []


# --- Withdrawing --------------------------------------------------------------------------------------------


def test_a_withdrawn_inspection_did_nothing_and_stays_readable(bench: Bench) -> None:
    before = bench.due_on()
    first = bench.inspect(answers=(CAP,)).number

    gone = bench.withdraw(first, by="K2")

    assert (gone.withdraws, gone.entries, gone.held, gone.again) == (first, 1, False, False)
    assert (bench.stops(), bench.due_on()) == (["overdue"], before)
    with bench.room.look() as db:
        second, whole = inspections(db, bench.item)
        shown = find_inspection(db, gone.number)
    assert (second.number, second.withdraws, second.by_name, second.counts) == (
        gone.number,
        first,
        "K2",
        False,
    )
    assert (whole.number, whole.withdrawn_by, whole.by_name) == (first, gone.number, "Kim Keeper")
    assert (second.reason, len(shown.answers)) == ("It was another hose on the bench", 12)
    assert json.loads(bench.entries("inspection withdrawn")[0].body)["withdraws"] == first


def test_the_hold_of_a_withdrawn_reject_stays_until_it_is_released(bench: Bench) -> None:
    first = bench.inspect(answers=(CUT,)).number
    assert bench.withdraw(first).entries == 0
    assert bench.stops() == ["on hold", "overdue"]


def test_what_a_withdrawn_inspection_had_released_is_kept_in_again(bench: Bench) -> None:
    first = bench.inspect(occasion=Occasion.AFTER_EVENT).number
    now = bench.room.clock()
    bench.shop.put(
        records.HoldRow,
        item_id=bench.item,
        cause="damaged",
        reason="Dropped from the deck",
        opened_at=now,
        released_at=now,
        evidence="Inspected",
        inspection_id=first,
    )
    assert bench.withdraw(first).held
    assert "on hold" in bench.stops()


def test_withdrawing_is_carried_out_once(bench: Bench) -> None:
    first = bench.inspect().number
    gone = bench.withdraw(first)
    again = bench.withdraw(first)
    assert (again.number, again.again) == (gone.number, True)
    with pytest.raises(NotPossible, match=f"was already withdrawn, by entry {gone.number}"):
        bench.withdraw(first, "w2")
    with pytest.raises(NotPossible, match=f"withdraws inspection {first}; it is none itself"):
        bench.withdraw(gone.number, "w3")


def test_a_withdrawal_needs_a_reason_a_keeper_and_an_inspection(bench: Bench) -> None:
    first = bench.inspect().number
    with pytest.raises(NotPossible, match="why the inspection is withdrawn"):
        bench.withdraw(first, reason="oops")
    with pytest.raises(NotAllowed, match="is not a keeper or safety officer"):
        bench.withdraw(first, by="P1")
    with pytest.raises(NotFound, match="There is no inspection 999"):
        bench.withdraw(999)
    with pytest.raises(NotPossible, match="was used before"):
        bench.withdraw(first, "i1")
    assert len(bench.rows(records.InspectionRow)) == 1
