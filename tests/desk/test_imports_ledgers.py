"""Taking in what was used, done, held, lent and kept."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import func

from fleet import records
from tests.importing import ROOM, Intake, at, csv_file
from tests.shop import NOON

if TYPE_CHECKING:
    from fleet.room import Room

ITEM, USE, DONE = records.ItemRow, records.UsageRow, records.UpkeepRow
HOLD, LINE, KEPT = records.HoldRow, records.LoanLineRow, records.ReservationRow


def item(intake: Intake, tag: str = "10006") -> int:
    return int(intake.one(ITEM.id, ITEM.tag == tag))


def meter_equals_ledger(intake: Intake, tag: str = "10006") -> int:
    """The meter of an item, after showing that it is the sum of its ledger."""
    for meter, used in ((ITEM.cycles, USE.cycles), (ITEM.minutes, USE.minutes)):
        total = intake.one(func.sum(used), USE.item_id == item(intake, tag)) or 0
        assert intake.one(meter, ITEM.tag == tag) == total
    return int(intake.one(ITEM.cycles, ITEM.tag == tag))


# --- Use ----------------------------------------------------------------------------------------------------


def test_the_meter_is_the_sum_of_the_use(filled: Intake) -> None:
    assert meter_equals_ledger(filled) == 520


def test_two_equal_rows_are_two_uses_and_the_file_again_is_none(filled: Intake) -> None:
    rows = "Tag,Used on,Cycles\n10006,2026-04-01,10\n10006,2026-04-01,10\n"
    assert filled.sheet("use", rows).tables[0].new == 2
    assert filled.sheet("use", rows).writes == 0
    assert meter_equals_ledger(filled) == 540

    # A longer file of the same days adds only what is new in it, however its numbers are written.
    longer = ('"Item",Cycles used,Used,Minutes', "1000-6,10,1 Apr 2026,0", *["10006,10,2026-04-01,"] * 2)
    report = filled.sheet("use", "\n".join(longer))
    assert (report.tables[0].new, report.tables[0].unchanged) == (1, 2)
    assert meter_equals_ledger(filled) == 550


def test_use_moves_the_due_line(filled: Intake) -> None:
    filled.sheet("use", "Tag,Used on,Cycles\n10006,2026-05-12,6000\n")

    left = filled.one(records.DueLineRow.use_left, records.DueLineRow.item_id == item(filled))
    # Calibrated on 1 February at a meter of 400, every 5,000: 6,520 is 1,120 over.
    assert left == pytest.approx(-1120 / 5000)


def test_a_wrong_entry_is_taken_back_by_one_that_names_it(filled: Intake) -> None:
    rows = (
        "Tag,Used on,Job,Cycles,Pump minutes,Note,Entry,Reverses\n"
        "10006,2026-04-01,J-1,-700,-7,Typed one nought too many,e-2,e-1\n"
        "10006,2026-04-01,J-1,700,7,,e-1,\n"
    )
    assert filled.sheet("use", rows).rejections == ()
    assert meter_equals_ledger(filled) == 520
    assert filled.sheet("use", rows).writes == 0


def test_entries_that_take_nothing_back_rightly(filled: Intake) -> None:
    filled.sheet("use", "Tag,Used on,Cycles,Entry\n10006,2026-04-01,700,e-1\n10006,2026-04-01,5,e-3\n")
    filled.sheet("use", "Tag,Used on,Cycles,Note,Entry,Reverses\n10006,2026-04-01,-700,Wrong item,e-2,e-1\n")
    before = filled.everything()
    rows = {
        "10006,2026-04-01,-5,,": "Use cannot be negative",
        "10006,2026-04-01,-700,x,e-1": '"e-1" was already taken back by "e-2"',
        "10006,2026-04-01,700,x,e-2": "itself takes an entry back",
        "10006,2026-04-01,-4,x,e-3": "takes all of it, on its item and day: -5 cycles",
        "10039,2026-04-01,-5,x,e-3": "takes all of it, on its item and day",
        "10006,2026-04-01,-5,,e-3": "Say here why the entry was wrong",
        "10006,2026-04-01,-5,x,e-9": 'There is no entry "e-9" of use on record',
        "10006,2026-05-14,5,,": "is after today",
        "10006,2026-04-01,5.5,,": "is not a whole number",
    }
    report = filled.sheet("use", "\n".join(("Tag,Used on,Cycles,Note,Reverses", *rows)) + "\n")

    found = {one.row: one.sentence for one in report.rejections}
    for number, piece in enumerate(rows.values(), start=2):
        assert piece in found[number]
    assert report.rejected == len(rows)
    assert filled.everything() == before


def test_an_entry_is_never_changed(filled: Intake) -> None:
    filled.sheet("use", "Tag,Used on,Cycles,Entry\n10006,2026-04-01,700,e-1\n")
    refusal = filled.refused("use", "Tag,Used on,Cycles,Entry\n10006,2026-04-01,800,e-1\n")

    assert (refusal.column, refusal.rule) == ("Cycles", "other entry")
    assert meter_equals_ledger(filled) == 1220


# --- Upkeep -------------------------------------------------------------------------------------------------


def test_a_blank_reading_is_the_meter_of_that_day(filled: Intake) -> None:
    # 400 cycles on 10 January; the 120 of March came after.
    assert filled.one(DONE.cycles_at) == 400
    assert filled.one(DONE.minutes_at) == 90


def test_upkeep_moves_the_due_line(filled: Intake) -> None:
    filled.sheet("upkeep done", "Tag,Task,Done on,Cycles\n10006,Calibration,2026-05-02,520\n")

    line = records.DueLineRow
    assert filled.one(line.due_on, line.item_id == item(filled)) == date(2027, 5, 2)
    assert filled.one(line.due_cycles, line.item_id == item(filled)) == 5520


def test_upkeep_that_cannot_have_been_done(filled: Intake) -> None:
    before = filled.everything()
    rows = {
        "10006,calibration,2026-05-02,521": "521 is more than 1000-6 has on its meter, 520",
        "10006,service,2026-05-02,": '1000-6 (wrench) has no upkeep task "service"',
        "10006,calibrate,2026-05-02,": 'Did you mean "calibration"?',
        "10014,life,2026-05-02,": "counts from assembly and cannot be done again",
        "10006,calibration,2026-05-14,": "is after today",
        "10047,calibration,2026-05-02,": "There is no item with the tag 1004-7 on record",
    }
    report = filled.sheet("upkeep done", "\n".join(("Tag,Task,Done on,Cycles", *rows)) + "\n")

    found = {one.row: one.sentence for one in report.rejections}
    for number, piece in enumerate(rows.values(), start=2):
        assert piece in found[number]
    assert filled.everything() == before


def test_a_models_own_task_takes_over_what_was_done_for_the_kind(filled: Intake) -> None:
    entry = filled.one(DONE.client_id)
    filled.sheet("upkeep", "Task,Kind,Model,Cycles\ncalibration,wrench,W-500,1000\n")
    row = f"10006,calibration,2026-02-01,400,certificate 77,K1,{entry}"
    report = filled.sheet("upkeep done", f"Tag,Task,Done on,Cycles,Note,By,Entry\n{row}\n")

    assert (report.tables[0].unchanged, report.rejections) == (1, ())


# --- Holds --------------------------------------------------------------------------------------------------


def test_a_hold_is_released_by_a_later_file_and_then_stays_so(filled: Intake) -> None:
    headings = "Tag,Cause,Reason,Opened on,Released on,Evidence\n"
    row = "10039,damaged,Reaction arm bent,2026-05-01,{},{}\n"
    assert (
        filled.sheet("holds", headings + row.format("2026-05-12", "New arm and tested")).tables[0].changed
        == 1
    )
    assert filled.one(HOLD.released_at, HOLD.reason == "Reaction arm bent") == at(2026, 5, 12, 5)

    refusal = filled.refused("holds", headings + row.format("", ""))
    assert refusal.sentence == "This hold was released on record, and a release is not changed."


def test_half_a_release_is_none(filled: Intake) -> None:
    headings = "Tag,Cause,Reason,Opened on,Released on,Evidence\n"
    row = "10006,damaged,Cracked,2026-05-01,{}\n"
    for cells, piece in (
        ("2026-05-02,", "its evidence, or neither"),
        (",Tested", "Give the day of the release"),
        ("2026-04-02,Tested", "cannot be released before it was opened"),
        ("2026-05-14,Tested", "is still to come"),
    ):
        assert piece in filled.refused("holds", headings + row.format(cells)).sentence


# --- Loans --------------------------------------------------------------------------------------------------


def test_rows_of_one_errand_are_one_loan(filled: Intake) -> None:
    rows = (
        "Tag,Borrower,Job,Issued on,Back on\n"
        "10014,F1,J-1,2026-05-12,2026-05-18\n10039,F1,J-1,2026-05-12,2026-05-18\n"
    )
    assert filled.sheet("loans", rows).tables[0].new == 2
    assert filled.one(func.count(records.LoanRow.id)) == 2
    assert filled.one(func.count(LINE.id), LINE.returned_at.is_(None)) == 3


def test_what_is_out_has_been_out_since_that_day_at_least(filled: Intake) -> None:
    assert filled.one(ITEM.first_out_on, ITEM.tag == "10014") is None
    rows = "Tag,Borrower,Job,Issued on,Back on\n10014,F1,J-1,2026-05-11,2026-05-20\n"
    assert filled.sheet("loans", rows).tables[0].new == 1
    assert filled.one(ITEM.first_out_on, ITEM.tag == "10014") == date(2026, 5, 11)


def test_a_loan_carries_the_use_that_was_planned(filled: Intake) -> None:
    assert filled.one(LINE.planned_cycles, LINE.item_id == item(filled)) == 32


def test_what_came_back_since_is_not_lent_again_by_the_old_file(filled: Intake) -> None:
    with filled.room.act() as db:
        db.execute(records.base.rows_of(LINE).update().values(returned_at=NOON, condition="fine"))
    before = filled.everything()
    report = filled.sheet("loans", ROOM["loans"])

    assert report.tables[0].unchanged == 1
    assert report.notes == ("1 loan of these files has come back since; nothing was changed about that.",)
    assert filled.everything() == before


def test_loans_that_cannot_be(filled: Intake) -> None:
    rows = {
        "10006,F1,J-1,2026-05-11,2026-05-20": "1000-6 is already out with Fin Fitter until 20 May 2026",
        "10006,F1,J-1,2026-05-10,2026-05-25": "is to be back on 20 May 2026 on record",
        "10022,F1,J-1,2026-05-11,2026-05-20": "1002-2 belongs to SOUTH, and J-1 is at NORTH",
        "10014,F1,J-1,2026-05-11,2026-05-10": "cannot be due back before it was issued",
        "10014,F9,J-1,2026-05-11,2026-05-20": 'There is no person with the badge "F9" on record',
        "10014,F1,J-1,2026-05-14,2026-05-20": "is still to come",
    }
    for row, piece in rows.items():
        refusal = filled.refused("loans", f"Tag,Borrower,Job,Issued on,Back on\n{row}\n")
        assert piece in refusal.sentence


# --- Reservations -------------------------------------------------------------------------------------------


def test_two_windows_of_one_item_do_not_overlap(filled: Intake) -> None:
    headings = "Tag,Job,From,To\n"
    refusal = filled.refused("reservations", headings + "10006,J-1,2026-05-20,2026-05-22\n", by="P1")
    assert refusal.rule == "overlap"
    assert "1000-6 is already kept for J-1 from 10 May 2026 to" in refusal.sentence

    report = filled.sheet(
        "reservations",
        headings + "10014,J-1,2026-05-10,2026-05-12\n10014,J-1,2026-05-12,2026-05-14\n",
        by="P1",
    )
    assert [(one.row, one.rule) for one in report.rejections] == [(3, "overlap")]
    assert filled.one(func.count(KEPT.id)) == 3


def test_the_day_after_is_free(filled: Intake) -> None:
    report = filled.sheet("reservations", "Tag,Job,From,To\n10006,J-1,2026-05-21,2026-05-22\n", by="P1")

    assert report.tables[0].new == 1


def test_a_reservation_may_get_another_joint(filled: Intake) -> None:
    filled.sheet("joints", "Job,Joint,Bolts,Torque\nJ-1,F-2,8,900 Nm\n", by="P1")
    report = filled.sheet(
        "reservations", "Tag,Job,Joint,From,To\n10006,J-1,F-2,2026-05-10,2026-05-20\n", by="P1"
    )

    assert [(one.column, one.old, one.new) for one in report.changes] == [("Joint", "F-1", "F-2")]


def test_what_was_set_free_since_is_not_kept_again_by_the_old_file(filled: Intake) -> None:
    with filled.room.act() as db:
        db.execute(records.base.rows_of(KEPT).update().values(ended_at=NOON, end_reason="Not needed"))
    before = filled.everything()
    report = filled.sheet("reservations", ROOM["reservations"])

    assert report.tables[0].unchanged == 2
    assert "set free since" in report.notes[0]
    assert filled.everything() == before


def test_a_file_of_use_and_one_of_upkeep_may_come_in_any_order(room: Room) -> None:
    intake = Intake(room)
    intake.set_up()
    files = (
        csv_file("upkeep done", "Tag,Task,Done on,Cycles\n10039,calibration,2026-04-02,70\n"),
        csv_file("use", "Tag,Used on,Cycles\n10039,2026-04-01,70\n"),
    )

    assert intake.take(*files, by="K1").rejections == ()
    assert meter_equals_ledger(intake, "10039") == 70
    assert intake.one(
        records.DueLineRow.last_done_on, records.DueLineRow.item_id == item(intake, "10039")
    ) == (date(2026, 4, 1) + timedelta(days=1))
