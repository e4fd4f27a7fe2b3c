"""Inspections: who may, what must be answered, what a reject does, and mistakes withdrawn."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest

from fleet import records
from fleet.desk.inspections import Shot
from fleet.desk.upkeep import DoneSlip, record_done
from fleet.lists.inspections import find_inspection
from fleet.measures.tags import show_tag
from fleet.measures.times import add_months
from fleet.refusals import NotAllowed, NotFound, NotPossible, Refusal
from fleet.rules.checklists import program_checklist
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
