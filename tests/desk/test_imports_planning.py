"""Joints with limits, their templates, crews of jobs and sizes of models, as they come in by a file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlalchemy import func, select

from fleet import records

if TYPE_CHECKING:
    from tests.importing import Intake

JOINT = records.JointRow


def test_a_joint_takes_from_its_template_what_it_leaves_empty(filled: Intake) -> None:
    with filled.room.look() as db:
        joint = db.execute(
            select(
                JOINT.bolts,
                JOINT.thread,
                JOINT.across_flats_mm,
                JOINT.torque_nm,
                JOINT.loosening_reason,
                JOINT.duration_minutes,
                JOINT.head,
                JOINT.widest_mm,
                JOINT.heaviest_kg,
            ).where(JOINT.mark == "M-1")
        ).one()
    assert tuple(joint) == (24, "M39", 60.0, 1900.0, "hot service", 480, "ratchet link", 60.0, 9.0)


def test_a_later_change_of_the_template_leaves_the_joint_alone(filled: Intake) -> None:
    filled.sheet("joint templates", "Template,Bolts,Target torque\nmanway,28,2 kN·m\n")
    assert filled.one(JOINT.bolts, JOINT.mark == "M-1") == 24
    filled.sheet("joints", "Job,Joint,Template\nJ-2,M-1,Manway\nJ-2,M-2,Manway\n")
    assert filled.one(JOINT.bolts, JOINT.mark == "M-2") == 28
    assert filled.one(JOINT.torque_nm, JOINT.mark == "M-1") == 2000.0


def test_its_own_factor_needs_its_own_reason(filled: Intake) -> None:
    row = filled.refused("joints", "Job,Joint,Template,Loosening factor\nJ-2,M-3,Manway,1.9\n")
    assert (row.column, row.rule) == ("Loosening reason", "factor without reason")


@pytest.mark.parametrize(
    ("sheet", "rows", "column", "sentence"),
    [
        ("joints", "Job,Joint,Template\nJ-2,M-3,Manwya", "Template", 'Did you mean "Manway"?'),
        (
            "joints",
            "Job,Joint,Bolts\nJ-2,M-3,8",
            "Target torque",
            "Target torque is needed, here or in a template",
        ),
        ("joints", "Job,Joint\nJ-2,M-3", "Bolts", "Bolts is needed, here or in a template"),
        (
            "joints",
            "Job,Joint,Bolts,Torque,Head,Square drive\nJ-2,M-3,8,900 N·m,ratchet link,1 in",
            "Square drive",
            "A ratchet link has no square drive",
        ),
        (
            "joints",
            "Job,Joint,Bolts,Torque,Heaviest\nJ-2,M-3,8,900 N·m,9 mm",
            "Heaviest",
            "a mass was expected",
        ),
        (
            "joints",
            "Job,Joint,Bolts,Torque,Wrenches at once\nJ-2,M-3,8,900 N·m,0",
            "Wrenches at once",
            "at least 1",
        ),
        (
            "jobs",
            "Job,Name,Site,Start,End,Crews\nJ-9,Work,NORTH,2026-05-20,2026-05-21,0",
            "Crews",
            "at least 1",
        ),
        ("models", "Model,Kind,Width\nP-9,pump,60 mm", "Width", "A pump does not have a width"),
        ("joint templates", "Template,Bolts,Target torque\nT,8,", "Target torque", "is needed"),
    ],
)
def test_what_cannot_be_is_refused_with_its_column(
    filled: Intake, sheet: str, rows: str, column: str, sentence: str
) -> None:
    row = filled.refused(sheet, f"{rows}\n")
    assert row.column == column or row.column in rows
    assert sentence in row.sentence


def test_sizes_of_a_model_are_kept_as_written(filled: Intake) -> None:
    model = records.ModelRow
    assert filled.one(model.width_mm, model.designation == "W-500") == pytest.approx(3.125 * 25.4)
    # A pound is 0.453 592 37 kg (NIST SP 811).
    assert filled.one(model.weight_kg, model.designation == "W-500") == pytest.approx(11.5 * 0.45359237)
    assert filled.one(model.arm_written, model.designation == "W-500") == "7 in"
    assert filled.one(records.JobRow.crews, records.JobRow.code == "J-1") == 3


def test_ten_thousand_joints_in_one_file(filled: Intake) -> None:
    rows = "".join(f"J-1,N-{n},8,M{36 if n % 2 else 42},{900 + n % 50} N·m,60 mm\n" for n in range(10_000))
    report = filled.sheet("joints", f"Job,Joint,Bolts,Thread,Target torque,Widest\n{rows}")
    assert (report.rejections, report.writes) == ((), 10_000)
    assert filled.one(func.count(JOINT.id)) == 10_002
    again = filled.sheet("joints", f"Job,Joint,Bolts,Thread,Target torque,Widest\n{rows}")
    assert again.writes == 0
