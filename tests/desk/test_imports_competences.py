"""Taking in who may inspect and test what."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from sqlalchemy import func

from fleet import records

if TYPE_CHECKING:
    import pytest

    from tests.importing import Intake

MAY = records.CompetenceRow
GRANTED = "Badge,Kind,Task,Expires on,Evidence\n"


def test_a_competence_is_granted_for_a_task_as_it_is_called_on_record(filled: Intake) -> None:
    assert filled.one(func.count(MAY.id)) == 2
    assert filled.one(MAY.task, MAY.kind == "wrench") == "calibration"
    assert filled.one(MAY.expires_on, MAY.kind == "hose") == date(2027, 1, 31)


def test_another_day_renews_it_and_ends_the_earlier(filled: Intake) -> None:
    row = "K1,wrench,calibration,2028-03-01,Course of the wrench  maker\n"
    report = filled.sheet("competences", GRANTED + row, by="S1")

    assert (report.tables[0].changed, [change.column for change in report.changes]) == (1, ["Expires on"])
    assert filled.one(MAY.expires_on, MAY.kind == "wrench", MAY.ended_at.is_(None)) == date(2028, 3, 1)
    assert filled.one(MAY.end_reason, MAY.ended_at.is_not(None)) == "Renewed."
    assert filled.sheet("competences", GRANTED + row, by="S1").writes == 0


CANNOT_BE = [
    ("K1,hose,inspection before use,2027-02-01,Instructed on 3 March", "K1", "own"),
    ("F1,hose,inspection before use,2027-02-01,Instructed on 3 March", "K1", "role"),
    ("S1,hose,inspection before use,2027-02-01,Instructed on 3 March", "S1", "own"),
    ("F1,hose,polishing,2027-02-01,Instructed on 3 March", "S1", "not possible"),
    ("F1,hose,inspection before use,2099-02-01,Instructed on 3 March", "S1", "not possible"),
    ("F1,hose,inspection before use,2027-02-01,yes", "S1", "not possible"),
    ("Z9,hose,inspection before use,2027-02-01,Instructed on 3 March", "S1", "unknown"),
]


def test_competences_that_cannot_be(filled: Intake, subtests: pytest.Subtests) -> None:
    for row, by, rule in CANNOT_BE:
        with subtests.test(row):
            assert filled.refused("competences", f"{GRANTED}{row}\n", by).rule == rule
    assert filled.one(func.count(MAY.id)) == 2
