"""Sheets that carry what the audit asks for: breakouts, proofs and repairs of tasks, strokes, hose ages."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet import records
from fleet.lists.breakouts import breakouts, measured_before

if TYPE_CHECKING:
    from tests.importing import Intake

HEADINGS = "Job,Joint,Tag,Measured on,Torque,Pressure,By,Note,Entry,Withdraws\n"
PLATE = "Model,Kind,Square drive,Head,Stroke degrees,Advance volume,Return volume,Flow,Bulk months\n"


def again_after(intake: Intake) -> dict[str, set[str]]:
    """The repairs that make each task due again, by the task's name."""
    row = records.TaskAfterRepairRow
    found: dict[str, set[str]] = {}
    with intake.room.look() as db:
        statement = select(records.TaskRow.name, row.work).join(
            records.TaskRow, records.TaskRow.id == row.task_id
        )
        for name, work in db.execute(statement):
            found.setdefault(name, set()).add(work)
    return found


# --- Breakouts ----------------------------------------------------------------------------------------------


def test_a_pressure_is_read_on_the_chart_of_its_wrench(filled: Intake) -> None:
    with filled.room.look() as db:
        by_pressure, by_torque = breakouts(db, site="NORTH", mark="F-1")
    # The chart of W-500 gives 750 lbf·ft at 5,000 psi and 1,500 at 10,000: 1,200 at 8,000 psi.
    assert (by_pressure.torque_written, by_pressure.pressure_written) == ("1,200 lbf·ft", "8,000 psi")
    assert (by_torque.torque_nm, by_torque.tag, by_torque.note) == (1500.0, None, "by the torque multiplier")


def test_a_wrong_one_is_withdrawn_by_a_row_that_names_it(filled: Intake) -> None:
    rows = (
        'J-1,F-1,,2026-05-12,"1,900 N·m",,,,E-1,\n'
        'J-1,F-1,,2026-05-12,"1,900 N·m",,K1,another flange,E-2,E-1\n'
    )
    assert filled.sheet("breakouts", HEADINGS + rows).rejections == ()
    with filled.room.look() as db:
        spread = measured_before(db, "NORTH", "F-1")
    assert spread is not None
    assert (spread.count, round(spread.highest_nm)) == (2, 1627)
    assert filled.sheet("breakouts", HEADINGS + rows).writes == 0


def test_breakouts_that_cannot_be(filled: Intake) -> None:
    first = 'J-1,F-1,,2026-05-12,"1,900 N·m",,,,E-1,\n'
    assert filled.sheet("breakouts", HEADINGS + first).rejections == ()
    for row, column, sentence in (
        ("J-1,F-1,,2026-05-12,,,,,,", "Torque", "Give the torque"),
        ("J-1,F-1,,2026-05-12,,8000 psi,,,,", "Pressure", "name the wrench too"),
        ("J-1,F-1,10006,2026-05-12,,1000 psi,,,,", "Pressure", "lies outside the chart"),
        ("J-1,F-1,10006,2026-05-12,2200 N·m,,,,,", "Torque", "gives at most"),
        ("J-1,F-1,10014,2026-05-12,1500 N·m,,,,,", "Tag", "is a hose"),
        ("J-1,F-9,,2026-05-12,1500 N·m,,,,,", "Joint", "J-1 has no joint"),
        ("J-1,F-1,,2026-05-14,1500 N·m,,,,,", "Measured on", "after today"),
        ("J-1,F-1,,2026-05-12,1800 N·m,,,,E-1,", "Torque", "never changed"),
        ("J-1,F-1,,2026-05-12,1900 N·m,,,wrong flange,,E-7", "Withdraws", "no breakout with the entry"),
        ("J-1,F-1,,2026-05-12,1800 N·m,,,wrong flange,,E-1", "Torque", "same joint and torque"),
        ("J-1,F-1,,2026-05-12,1900 N·m,,,,,E-1", "Note", "why the entry was wrong"),
    ):
        rejection = filled.refused("breakouts", HEADINGS + row + "\n")
        assert (rejection.column, sentence in rejection.sentence) == (column, True), rejection
    both = first.replace("E-1,", "E-2,E-1").replace(",,,,E-2", ",,,wrong flange,E-2")
    assert filled.sheet("breakouts", HEADINGS + both).rejections == ()
    assert "already withdrawn" in filled.refused("breakouts", HEADINGS + both.replace("E-2", "E-3")).sentence
    whole = both.replace("E-2,E-1", "E-4,E-2")
    assert "itself takes a breakout back" in filled.refused("breakouts", HEADINGS + whole).sentence


def test_only_a_keeper_of_the_site_records_one(filled: Intake) -> None:
    row = "J-1,F-1,,2026-05-12,1500 N·m,,,,,\n"
    assert filled.refused("breakouts", HEADINGS + row, by="P1").rule == "role"


# --- Tasks --------------------------------------------------------------------------------------------------


def test_tasks_carry_their_proof_and_the_repairs_after_which_they_are_due(filled: Intake) -> None:
    proof = records.TaskRow.proved_by
    assert filled.one(proof, records.TaskRow.name == "calibration") == "calibration"
    assert filled.one(proof, records.TaskRow.name == "life") == "note"
    assert again_after(filled) == {"calibration": {"seal kit", "drive parts"}, "service": {"relief set"}}


def test_a_change_of_the_repairs_is_a_change_of_the_task(filled: Intake) -> None:
    rows = 'calibration,wrench,12,"relief set, seal kit; seal kit"\nservice,pump,12,\n'
    sheet = f"Task,Kind,Months,Again after\n{rows}"
    report = filled.sheet("upkeep", sheet)

    changes = {(one.about, one.old, one.new) for one in report.changes if one.column == "Again after"}
    assert changes == {
        ("calibration of wrench", "drive parts; seal kit", "relief set; seal kit"),
        ("service of pump", "relief set", ""),
    }
    assert again_after(filled) == {"calibration": {"relief set", "seal kit"}}
    assert filled.sheet("upkeep", sheet).writes == 0
    without = "Task,Kind,Months\ncalibration,wrench,12\n"
    assert filled.sheet("upkeep", without).writes == 0


def test_proofs_and_repairs_are_words_of_a_list(filled: Intake) -> None:
    assert (
        "none of: note, inspection"
        in filled.refused(
            "upkeep", "Task,Kind,Months,Proved by\ncalibration,wrench,12,word of honour\n"
        ).sentence
    )
    assert (
        "none of: seal kit, gauge changed"
        in filled.refused(
            "upkeep", "Task,Kind,Months,Again after\ncalibration,wrench,12,seal kit; paint\n"
        ).sentence
    )
    row = "Task,Kind,Months,Again after\ncalibration,wrench,12,seal kit\n"
    assert filled.refused("upkeep", row, by="P1").rule == "role"


# --- Plates, joints and hoses -------------------------------------------------------------------------------


def test_a_plate_carries_its_stroke_and_a_joint_its_turn(filled: Intake) -> None:
    model = records.ModelRow
    assert filled.one(model.stroke_degrees, model.designation == "W-500") == 30.0
    assert filled.one(model.return_volume_cm3, model.designation == "W-500") == pytest.approx(2.5 * 2.54**3)
    assert filled.one(model.return_volume_written, model.designation == "W-500") == "2.5 in³"
    # The US gallon is 3.785412 L.
    assert filled.one(model.flow_l_min, model.designation == "P-1") == pytest.approx(3.785412 / 4)
    assert filled.one(model.bulk_months, model.designation == "H-6") == 48
    assert filled.one(records.JointRow.turn_degrees) == 90.0
    assert str(filled.one(records.ItemRow.bulk_made_on, records.ItemRow.tag == "10014")) == "2023-06-01"


def test_what_stands_under_the_wrong_kind_or_cannot_be(filled: Intake) -> None:
    for row, column, sentence in (
        ("P-9,pump,,,30,,,,", "Stroke degrees", "A pump does not have a stroke"),
        ("W-9,wrench,1 in,square drive,,,,1 L/min,", "Flow", "A wrench does not have a pump flow"),
        ("W-9,wrench,1 in,square drive,,,,,48", "Bulk months", "does not have an age of its bulk hose"),
        ("W-9,wrench,1 in,square drive,400,,,,", "Stroke degrees", "not a number above zero"),
        ("W-9,wrench,1 in,square drive,30,60 cm,,,", "Advance volume", "a volume was expected"),
        ("W-9,wrench,1 in,square drive,30,60 cc,61 cc,,", "Return volume", "cannot take more oil"),
        ("P-9,pump,,,,,,1 gpm,", "Flow", "write US gal/min"),
    ):
        rejection = filled.refused("models", PLATE + row + "\n")
        assert (rejection.column, sentence in rejection.sentence) == (column, True), rejection


def test_bulk_hose_belongs_to_a_hose_and_comes_before_its_assembly(filled: Intake) -> None:
    items = "Tag,Model,Serial,Site,Assembled,Bulk made on\n"
    assert (
        "has no bulk hose"
        in filled.refused("items", items + "10006,W-500,00123,NORTH,,2024-01-01\n").sentence
    )
    late = "10014,H-6,2E5,NORTH,2024-12-01,2025-01-01\n"
    assert "before its bulk hose was made" in filled.refused("items", items + late).sentence


def test_what_was_used_is_no_longer_in_store(filled: Intake) -> None:
    first = records.ItemRow.first_out_on
    assert filled.one(first, records.ItemRow.tag == "10014") is None
    filled.sheet("use", "Tag,Used on,Cycles\n10014,2026-04-02,10\n10014,2026-03-02,10\n")
    assert str(filled.one(first, records.ItemRow.tag == "10014")) == "2026-03-02"
