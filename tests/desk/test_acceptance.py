"""Accepting and refusing certificates: by a named, competent person, once, and only what passed."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import update

from fleet import records
from fleet.lists.calibrations import certificates, find_certificate
from fleet.lists.items import find_item
from fleet.lists.parts import pieces
from fleet.records.base import rows_of
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.calibrations import DecisionRule
from tests.laboratory import BAD, GOOD, LEFT, Laboratory, ago
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.bolting.charts import Chart
    from fleet.room import Room
    from tests.shop import Shop


@pytest.fixture
def laboratory(room: Room, shop: Shop) -> Laboratory:
    return Laboratory(room, shop).open()


def chart(laboratory: Laboratory) -> Chart:
    with laboratory.room.look() as db:
        found = pieces(db, [laboratory.item])[0].chart
    assert found
    return found


def test_an_accepted_certificate_makes_the_wrench_s_own_chart_and_fulfils_its_task(
    laboratory: Laboratory,
) -> None:
    laboratory.send()
    taken = laboratory.take_in()
    laboratory.back()

    decided = laboratory.accept(taken.number)

    assert (decided.standing, decided.due_on, decided.due_cycles) == ("accepted", date(2027, 5, 13), 5000)
    assert decided.charted_mpa == (20.0, 70.0)
    assert [(one.pressure_mpa, one.torque_nm) for one in chart(laboratory).points] == [
        (20, 606),
        (40, 1210),
        (70, 2110),
    ]
    assert chart(laboratory).source == "certificate C-2, Bench Lab, 13 May 2026"
    (done,) = laboratory.rows(records.UpkeepRow)
    assert (done["calibration_id"], done["done_on"], done["task_id"]) == (
        taken.number,
        TODAY,
        laboratory.task,
    )
    with laboratory.room.look() as db:
        line = find_certificate(db, taken.number)
    assert (line.standing, line.decided_by) == ("accepted", "Kim Keeper")
    (row,) = laboratory.rows(records.CalibrationRow)
    assert row["chart_id"] is not None


def test_the_chart_before_stays_on_record(laboratory: Laboratory) -> None:
    laboratory.good(on=ago(30))
    taken = laboratory.take_in(*BAD, *LEFT)
    laboratory.accept(taken.number)
    own = [row for row in laboratory.rows(records.ChartRow) if row["item_id"] == laboratory.item]
    assert [row["replaced_at"] for row in own] == [NOON, None]
    assert chart(laboratory).points[0].torque_nm == 602


def test_use_since_the_calibration_belongs_to_the_next_round(laboratory: Laboratory) -> None:
    number = laboratory.good(on=ago(10))
    (row,) = laboratory.rows(records.CalibrationRow)
    assert (row["id"], row["cycles_at"]) == (number, 0)
    assert laboratory.rows(records.UpkeepRow)[0]["done_on"] == ago(10)


def test_an_accepted_certificate_ends_no_hold_by_itself(laboratory: Laboratory) -> None:
    laboratory.send()
    taken = laboratory.take_in(*BAD, *LEFT)
    laboratory.back()
    assert laboratory.accept(taken.number).on_hold


def test_nothing_is_accepted_while_it_is_away(laboratory: Laboratory) -> None:
    laboratory.send()
    taken = laboratory.take_in()
    with pytest.raises(NotPossible, match="still away, at Bench Lab"):
        laboratory.accept(taken.number)


@pytest.mark.parametrize(
    ("left", "result"),
    [
        ("1226 N·m", "conditional pass"),  # 26 of 36, and U = 12: 24 to 36.
        ("1240 N·m", "conditional fail"),
        ("1260 N·m", "fail"),
    ],
)
def test_what_did_not_pass_is_not_accepted(laboratory: Laboratory, left: str, result: str) -> None:
    points = (GOOD[0], f"as found; 40 MPa; {left}; 12 N·m", GOOD[2])
    taken = laboratory.take_in(*points, rule=DecisionRule.GUARD_FULL, tolerance_percent=3.0)
    assert taken.as_found == result
    with pytest.raises(NotPossible):
        laboratory.accept(taken.number)
    if result == "conditional pass":
        decided = laboratory.accept(taken.number, "Within tolerance; used at 40 MPa only by exception")
        assert decided.standing == "accepted"
    else:
        with pytest.raises(NotPossible, match="cannot be accepted"):
            laboratory.accept(taken.number, "We need it today")
        assert laboratory.rows(records.UpkeepRow) == []


def test_it_is_decided_once(laboratory: Laboratory) -> None:
    first = laboratory.good(on=ago(3))
    with pytest.raises(NotPossible, match="decided once"):
        laboratory.accept(first)
    with pytest.raises(NotPossible, match="decided once"):
        laboratory.refuse(first)
    second = laboratory.take_in().number
    assert laboratory.refuse(second).standing == "refused"
    with pytest.raises(NotPossible, match="decided once"):
        laboratory.accept(second)
    assert len(laboratory.rows(records.UpkeepRow)) == 1


def test_an_older_one_cannot_be_accepted_after_a_newer_one(laboratory: Laboratory) -> None:
    rule = {"rule": DecisionRule.GUARD_FULL, "tolerance_percent": 3.0}
    older = laboratory.take_in(calibrated_on=ago(9), **rule).number  # type: ignore[arg-type]
    newer = laboratory.take_in(calibrated_on=ago(2)).number
    laboratory.accept(newer)
    with pytest.raises(NotPossible, match="newer certificate"):
        laboratory.accept(older)


def test_who_has_no_competence_or_no_role_accepts_nothing(laboratory: Laboratory) -> None:
    number = laboratory.take_in(rule=DecisionRule.GUARD_FULL, tolerance_percent=3.0).number
    laboratory.shop.person("K2", laboratory.site, "keeper")
    with pytest.raises(NotAllowed, match="no competence for calibration on a wrench"):
        laboratory.accept(number, by="K2")
    with pytest.raises(NotAllowed, match="no competence"):
        laboratory.refuse(number, by="K2")
    with pytest.raises(NotAllowed, match="role is needed"):
        laboratory.accept(number, by="P1")
    with laboratory.room.act() as db:
        competences = rows_of(records.CompetenceRow)
        db.execute(update(competences).values(expires_on=ago(1)))
    with pytest.raises(NotAllowed, match="that ended on 12 May 2026"):
        laboratory.accept(number)
    with laboratory.room.look() as db:
        (line,) = certificates(db, find_item(db, laboratory.tag))
    assert line.standing == "received"


def test_a_gauge_gets_no_chart(laboratory: Laboratory) -> None:
    typed = ("as found; 200 bar; 203 bar; 2 bar", "as found; 800 bar; 803 bar; 2 bar")
    taken = laboratory.take_in(*typed, kind="gauge", item=laboratory.gauge, rule=DecisionRule.GUARD_FULL)
    decided = laboratory.accept(taken.number, by="S1")
    assert (decided.charted_mpa, decided.due_on) == (None, date(2027, 5, 13))


def test_a_refusal_needs_its_reason_and_a_certificate(laboratory: Laboratory) -> None:
    with pytest.raises(NotFound, match="no certificate 7"):
        laboratory.accept(7)
    number = laboratory.take_in(rule=DecisionRule.GUARD_FULL, tolerance_percent=3.0).number
    with pytest.raises(NotPossible, match="in a sentence"):
        laboratory.refuse(number, "no")
