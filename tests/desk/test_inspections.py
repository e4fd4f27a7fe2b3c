"""Inspections: who may, what must be answered, what a reject does, and mistakes withdrawn."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest

from fleet import records
from fleet.desk.checklists import take_in_checklists
from fleet.desk.inspections import Shot
from fleet.desk.upkeep import DoneSlip, record_done
from fleet.lists.inspections import find_inspection, inspections
from fleet.lists.photographs import find_photograph
from fleet.measures.tags import show_tag
from fleet.measures.times import add_months
from fleet.refusals import NotAllowed, NotFound, NotPossible, Refusal, Unreadable
from fleet.rules.checklists import Checklist, program_checklist
from fleet.rules.evidence import Answer, Occasion
from fleet.rules.inspections import Given
from fleet.rules.photographs import clean_photograph
from tests.inspecting import BEFORE_USE, CAP, CUT, Bench, picture
from tests.shop import TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop


@pytest.fixture
def bench(room: Room, shop: Shop) -> Bench:
    return Bench(room, shop).set_up()


# --- What an inspection does --------------------------------------------------------------------------------


def test_a_periodic_inspection_does_the_task_it_was_due_for(bench: Bench) -> None:
    assert bench.stops() == ["overdue"]

    done = bench.inspect(inspected_on=TODAY - timedelta(days=1), answers=(CAP,), note="After the shutdown")

    assert (done.result, done.fulfilled, done.held, done.again) == ("note", "inspection", False, False)
    assert bench.stops() == []
    assert bench.due_on() == add_months(TODAY - timedelta(days=1), 6)
    entry = bench.rows(records.UpkeepRow)[-1]
    assert (entry.inspection_id, entry.task_id, entry.by_id) == (done.number, bench.task, bench.people["K1"])


def test_it_keeps_every_checkpoint_with_its_wording_and_who_saw_it(bench: Bench) -> None:
    number = bench.inspect(answers=(CAP,)).number
    with bench.room.look() as db:
        sheet = find_inspection(db, number)

    points = program_checklist("hose").points
    assert [answer.wording for answer in sheet.answers] == list(points)
    assert [answer.answer for answer in sheet.answers] == ["fine"] * 11 + ["note"]
    assert sheet.answers[-1].remark == "One dust cap missing"
    assert (sheet.inspection.by_name, sheet.inspection.checklist_version) == ("Kim Keeper", 0)


def test_a_reject_keeps_it_in_at_once_and_does_no_task(bench: Bench) -> None:
    done = bench.inspect(answers=(CUT, CAP))

    assert (done.result, done.fulfilled, done.held) == ("reject", None, True)
    assert bench.stops() == ["on hold", "overdue"]
    (hold,) = bench.rows(records.HoldRow)
    assert (hold.cause, hold.opened_by_id) == ("inspection", bench.people["K1"])
    assert hold.reason.startswith(f"Inspection {done.number}: Cover: no damage down to the reinforcement")
    assert hold.reason.endswith("Cut down to the braid near the pump end")
    assert len(bench.rows(records.UpkeepRow)) == 1


def test_the_day_book_says_what_an_auditor_asks(bench: Bench) -> None:
    number = bench.inspect(answers=(CUT,), shots=(Shot(clean_photograph(picture(), "a.jpg"), 1),)).number
    inspected, held = bench.entries("inspected")[0], bench.entries("hold opened")[0]

    body = json.loads(inspected.body)
    assert (inspected.person_name, inspected.about, held.about) == ("Kim Keeper", bench.tag, bench.tag)
    assert (body["inspection"], body["result"], body["fine"]) == (number, "reject", 11)
    assert body["seen"][0]["remark"] == "Cut down to the braid near the pump end"
    assert len(body["photographs"][0]["sha256"]) == 64
    assert f"Inspection {number}" in json.loads(held.body)["reason"]


def test_a_look_before_use_does_no_task(bench: Bench) -> None:
    done = bench.inspect(occasion=Occasion.BEFORE_USE)
    assert (done.result, done.fulfilled) == ("fine", None)
    assert bench.stops() == ["overdue"]


def test_after_an_event_it_does_a_task_only_when_asked_to(bench: Bench) -> None:
    assert bench.inspect(occasion=Occasion.AFTER_EVENT).fulfilled is None
    assert bench.inspect("i2", occasion=Occasion.AFTER_EVENT, task="Inspection").fulfilled == "inspection"


def test_of_several_tasks_the_one_that_is_meant_must_be_named(bench: Bench) -> None:
    bench.shop.task("thorough inspection", "hose", every_months=24, proved_by="inspection")
    bench.shop.refresh(bench.item)
    bench.may("K1", "thorough inspection")

    with pytest.raises(NotPossible, match="Name one with --task: inspection, thorough inspection"):
        bench.inspect()
    assert bench.inspect(task="thorough inspection").fulfilled == "thorough inspection"


def test_it_is_carried_out_once_however_often_it_is_sent(bench: Bench) -> None:
    first = bench.inspect(answers=(CAP,))
    again = bench.inspect(answers=(CAP,))

    assert (again.number, again.result, again.fulfilled, again.again) == (
        first.number,
        "note",
        "inspection",
        True,
    )
    assert len(bench.rows(records.InspectionRow)) == 1
    with pytest.raises(NotPossible, match="was used before, for something else"):
        bench.inspect(occasion=Occasion.AFTER_EVENT)


# --- Who may ------------------------------------------------------------------------------------------------


def test_nobody_inspects_without_a_competence_and_is_told_who_may(bench: Bench) -> None:
    with pytest.raises(NotAllowed, match=r"K2 has no competence for inspection on a hose\. Who may: Kim"):
        bench.inspect(by="K2")
    assert bench.rows(records.InspectionRow) == []


def test_where_nobody_may_the_command_that_grants_it_is_named(bench: Bench) -> None:
    wrench, tag = bench.shop.item(bench.shop.model("wrench"), bench.site)
    with pytest.raises(NotAllowed, match="fleet competence grant PERSON --kind wrench --task 'insp"):
        bench.inspect(item=tag, occasion=Occasion.BEFORE_USE)
    assert wrench


def test_a_competence_counts_through_its_last_day_and_no_longer(bench: Bench) -> None:
    bench.may("K2", BEFORE_USE, until=TODAY)
    assert bench.inspect(by="K2", occasion=Occasion.BEFORE_USE).result == "fine"
    bench.may("S1", BEFORE_USE, until=TODAY - timedelta(days=1))
    with pytest.raises(NotAllowed, match=r"\(that ended on 12 May 2026\)\. Who may: K2, Kim Keeper"):
        bench.inspect("i2", by="S1", occasion=Occasion.BEFORE_USE)


def test_a_competence_for_another_task_or_kind_does_not_do(bench: Bench) -> None:
    bench.may("K2", BEFORE_USE)
    bench.may("K2", "inspection", kind="wrench")
    with pytest.raises(NotAllowed, match="K2 has no competence for inspection on a hose"):
        bench.inspect(by="K2")


def test_an_ended_competence_counts_no_longer(bench: Bench) -> None:
    bench.shop.put(
        records.CompetenceRow,
        person_id=bench.people["K2"],
        kind="hose",
        task="inspection",
        expires_on=TODAY + timedelta(days=99),
        evidence="Instructed on 3 March",
        granted_at=bench.room.clock(),
        ended_at=bench.room.clock(),
        end_reason="Left the tool room",
    )
    with pytest.raises(NotAllowed, match="K2 has no competence"):
        bench.inspect(by="K2")


def test_a_borrower_with_a_competence_still_needs_a_role(bench: Bench) -> None:
    bench.may("F1", BEFORE_USE)
    with pytest.raises(NotAllowed, match="is not a keeper or safety officer at North tool room"):
        bench.inspect(by="F1", occasion=Occasion.BEFORE_USE)


# --- What is refused, with nothing changed ------------------------------------------------------------------

REFUSED: list[tuple[dict[str, Any], type[Refusal], str]] = [
    ({"all_fine": False}, NotPossible, "missing: 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12"),
    ({"answers": (Given(13, Answer.FINE),)}, NotPossible, "There is no checkpoint 13; a hose has 12"),
    ({"answers": (Given(0, Answer.FINE),)}, NotPossible, "There is no checkpoint 0"),
    ({"answers": (CUT, CUT)}, NotPossible, "Checkpoint 1 was answered twice"),
    ({"answers": (Given(2, Answer.REJECT),)}, NotPossible, "Checkpoint 2 .* needs a remark"),
    ({"answers": (Given(2, Answer.NOTE, "  x "),)}, NotPossible, "Checkpoint 2 .*: write what was"),
    ({"inspected_on": TODAY + timedelta(days=1)}, NotPossible, "14 May 2026 is still to come"),
    ({"inspected_on": TODAY - timedelta(days=500)}, NotPossible, "was only received on"),
    ({"task": "oiling"}, NotFound, "has no upkeep task 'oiling'. Its tasks: inspection"),
    ({"task": "inspection", "occasion": Occasion.BEFORE_USE}, NotPossible, "fulfils no upkeep task"),
    ({"checklist_version": 3}, NotPossible, "was changed meanwhile; answer version 0"),
    ({"item": "99999-9"}, Refusal, "tag"),
]


def test_what_cannot_be_is_refused_and_nothing_is_kept(bench: Bench, subtests: pytest.Subtests) -> None:
    for changed, kind, said in REFUSED:
        with subtests.test(said), pytest.raises(kind, match=said):
            bench.inspect(**changed)
    assert bench.rows(records.InspectionRow) == []
    assert bench.rows(records.EntryRow) == []


def test_a_photograph_of_no_checkpoint_refuses_the_whole_inspection(bench: Bench) -> None:
    shot = Shot(clean_photograph(picture(), "a.jpg"), 13)
    with pytest.raises(NotPossible, match="no checkpoint 13 that a photograph"):
        bench.inspect(shots=(shot,))
    assert bench.rows(records.KeptFileRow) == []


def test_a_retired_item_is_not_inspected(bench: Bench) -> None:
    item, tag = bench.shop.item(bench.model, bench.site, retired_on=TODAY, retired_reason="Worn out")
    with pytest.raises(NotPossible, match="was retired on"):
        bench.inspect(item=tag)
    assert item


def test_an_inspection_is_no_test_and_no_calibration(bench: Bench) -> None:
    for name in ("proof test", "calibration"):
        bench.shop.task(f"yearly {name}", "hose", every_months=12, proved_by=name)
        bench.shop.refresh(bench.item)
        said = f"Yearly {name} of {show_tag(bench.tag)} asks for a {name}, and is not done by an inspection"
        with pytest.raises(NotPossible, match=said):
            bench.inspect(task=f"yearly {name}")


def test_a_note_does_not_do_a_task_that_asks_for_an_inspection(bench: Bench) -> None:
    slip = DoneSlip("d1", bench.tag, "inspection", TODAY)
    with bench.room.act() as db, pytest.raises(NotPossible, match=r"fleet inspect .* --task 'inspection'"):
        record_done(db, slip, by=bench.shop.actor("K1"), now=bench.room.now(db))


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
