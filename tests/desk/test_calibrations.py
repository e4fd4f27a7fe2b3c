"""Certificates taken in: judged at once, refused whole, and acted on at once when one failed."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import select

from fleet import records
from fleet.desk.calibrations import Received
from fleet.desk.loans import IssueSlip, issue
from fleet.desk.returns import ReturnSlip, take_back
from fleet.lists.calibrations import certificates, files, find_certificate, points
from fleet.lists.drift import drift
from fleet.lists.items import find_item
from fleet.refusals import NotFound, NotPossible
from fleet.rules.calibrations import DecisionRule
from fleet.rules.dcc import read_dcc
from tests.digital import dcc
from tests.laboratory import BAD, GOOD, LEFT, RULE, Laboratory, ago
from tests.shop import TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop


@pytest.fixture
def laboratory(room: Room, shop: Shop) -> Laboratory:
    return Laboratory(room, shop).open()


def body_of(laboratory: Laboratory, act: str) -> dict[str, Any]:
    with laboratory.room.look() as db:
        asked = select(records.EntryRow.body).where(records.EntryRow.act == act)
        found: dict[str, Any] = json.loads(db.execute(asked).scalars().all()[-1])
        return found


# --- Taken in -----------------------------------------------------------------------------------------------


def test_a_good_certificate_waits_to_be_accepted(laboratory: Laboratory) -> None:
    laboratory.send(gauge=laboratory.gauge)

    taken = laboratory.take_in()

    assert (taken.as_found, taken.as_left, taken.hold, taken.review) == ("pass", None, None, None)
    with laboratory.room.look() as db:
        line = find_certificate(db, taken.number)
        found = points(db, taken.number)
    assert (line.standing, line.decided_by, line.received_by) == ("received", None, "Kim Keeper")
    assert (line.decision_rule, line.tolerance_percent) == ("guard band U", 3.0)
    assert line.paired_gauge == laboratory.gauge
    assert [(one.at_mpa, one.reference_si, one.found_si, one.result) for one in found] == [
        (20, 600, 606, "pass"),
        (40, 1200, 1210, "pass"),
        (70, 2100, 2110, "pass"),
    ]
    assert [one.tolerance for one in found] == [pytest.approx(one) for one in (18, 36, 63)]
    (trip,) = laboratory.rows(records.AwayRow)
    (row,) = laboratory.rows(records.CalibrationRow)
    assert row["away_id"] == trip["id"]
    assert laboratory.rows(records.UpkeepRow) == []


def test_the_day_book_holds_what_an_auditor_asks(laboratory: Laboratory) -> None:
    content = b"stage,pressure,torque\n"
    laboratory.take_in(*BAD, **RULE, files=(Received(content, "text/csv", "points.csv"),))
    body = body_of(laboratory, "certificate taken in")
    assert body["files"] == [hashlib.sha256(content).hexdigest()]
    assert body["points"][0] == "as found at 20 MPa: 660 N·m, +10.000 % (allowed 3 %), fail"
    assert {"laboratory", "reference", "traceability", "decision_rule", "tolerance_percent"} <= set(body)


def test_the_files_are_kept_as_they_were_received(laboratory: Laboratory) -> None:
    scan = b"%PDF-1.7 scanned"
    sent = (Received(dcc(), "application/xml", "cert.xml"), Received(scan, "application/pdf", "cert.pdf"))
    slip = laboratory.slip(**RULE, files=sent)
    typed = replace(slip.typed, number=None, laboratory=None, calibrated_on=None, readings=())
    taken = laboratory.hand_in(replace(slip, typed=typed, digital=read_dcc(dcc(), "wrench")))

    assert taken.certificate == "DCC-77"
    with laboratory.room.look() as db:
        kept = files(db, taken.number)
        line = find_certificate(db, taken.number)
    assert [(one.media_type, one.caption) for one in kept] == [
        ("application/xml", "cert.xml"),
        ("application/pdf", "cert.pdf"),
    ]
    assert kept[0].sha256 == hashlib.sha256(dcc()).hexdigest()
    assert kept[0].size_bytes == len(dcc())
    assert (line.laboratory, line.accreditation, line.calibrated_on) == ("Bench Lab", "XX-1", TODAY)


def test_handed_in_twice_with_one_id_is_taken_in_once(laboratory: Laboratory) -> None:
    slip = laboratory.slip(*BAD, **RULE)
    first, again = laboratory.hand_in(slip), laboratory.hand_in(slip)
    assert (again.number, again.again, again.as_found) == (first.number, True, "fail")
    assert len(laboratory.rows(records.CalibrationRow)) == len(laboratory.rows(records.HoldRow)) == 1
    other = laboratory.slip(**RULE)
    with pytest.raises(NotPossible, match="used before"):
        laboratory.hand_in(replace(other, client_id=slip.client_id))
    assert len(laboratory.rows(records.CalibrationRow)) == 1


def test_without_a_trip_the_last_rule_goes_on(laboratory: Laboratory) -> None:
    laboratory.good(on=ago(30))
    taken = laboratory.take_in()
    assert (taken.decision_rule, taken.tolerance_percent) == ("guard band U", 3.0)


def test_a_gauge_is_judged_by_its_class(laboratory: Laboratory) -> None:
    typed = ("as found; 200 bar; 203 bar; 2 bar", "as found; 800 bar; 820 bar; 2 bar")
    taken = laboratory.take_in(*typed, kind="gauge", item=laboratory.gauge, rule=DecisionRule.SIMPLE)
    assert (taken.as_found, taken.tolerance_percent) == ("fail", 1.6)
    assert taken.points[1].error_percent == pytest.approx(2.0)
    assert taken.review is not None


# --- A failure ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("torque", ["1250 N·m", "1290 N·m"])  # Conditional fail, and fail.
def test_a_failure_as_found_holds_the_item_and_opens_a_review(laboratory: Laboratory, torque: str) -> None:
    laboratory.good(on=ago(100))
    found = (GOOD[0], f"as found; 40 MPa; {torque}; 10 N·m", GOOD[2])

    taken = laboratory.take_in(*found, *LEFT)

    assert taken.as_left == "pass"
    (hold,) = laboratory.rows(records.HoldRow)
    (review,) = laboratory.rows(records.ImpactReviewRow)
    assert (hold["id"], hold["cause"], hold["released_at"]) == (taken.hold, "calibration", None)
    assert "worst at 40 MPa" in str(hold["reason"])
    assert (review["id"], review["calibration_id"]) == (taken.review, taken.number)
    assert (review["since_on"], review["until_on"]) == (ago(100), TODAY)


def test_a_review_reaches_back_to_the_task_s_own_history_or_to_everything(laboratory: Laboratory) -> None:
    laboratory.take_in(*BAD, **RULE)
    laboratory.shop.did(laboratory.gauge_item, laboratory.task + 1, ago(40))
    typed = ("as found; 800 bar; 820 bar; 2 bar",)
    laboratory.take_in(*typed, kind="gauge", item=laboratory.gauge, rule=DecisionRule.SIMPLE)
    wrench, gauge = laboratory.rows(records.ImpactReviewRow)
    assert (wrench["since_on"], gauge["since_on"]) == (None, ago(40))


def test_a_review_names_the_joint_and_the_torque_error_on_it(laboratory: Laboratory, clock: Clock) -> None:
    """A joint of 1,200 N·m was set at 40 MPa, where the wrench was found to give 7.5 % too much."""
    laboratory.shop.did(laboratory.item, laboratory.task, ago(10))
    job = laboratory.shop.job(laboratory.site)
    laboratory.shop.put(
        records.JointRow,
        job_id=job,
        mark="F-1",
        bolts=12,
        torque_written="1200 N·m",
        torque_nm=1200.0,
        tolerance_percent=5.0,
        loosening_factor=1.3,
        loosening_reason="No breakout on record",
    )
    keeper = laboratory.shop.actor("K1")
    with laboratory.room.act() as db:
        slip = IssueSlip("i", (laboratory.tag,), "F1", "J-1", TODAY + timedelta(2))
        issue(db, slip, by=keeper, now=laboratory.room.now(db))
    clock.pass_by(days=1)
    with laboratory.room.act() as db:
        take_back(db, ReturnSlip("r", laboratory.tag, 30, 60, "fine"), by=keeper, now=laboratory.room.now(db))
    clock.pass_by(days=1)

    laboratory.take_in(*BAD, **RULE, calibrated_on=TODAY + timedelta(2))

    (line,) = laboratory.rows(records.ImpactLineRow)
    assert (line["job_id"], line["cycles"]) == (job, 30)
    assert line["pressure_mpa"] == pytest.approx(40)
    assert line["error_percent"] == pytest.approx(7.5)


def test_evidence_of_a_failure_is_taken_even_when_no_chart_could_be_made_of_it(
    laboratory: Laboratory,
) -> None:
    taken = laboratory.take_in("as found; 40 MPa; 1500 N·m; 10 N·m", **RULE)
    assert (taken.as_found, taken.hold is not None) == ("fail", True)


# --- Asked --------------------------------------------------------------------------------------------------


def test_the_newest_certificate_stands_first_and_drift_leaves_refused_ones_out(
    laboratory: Laboratory,
) -> None:
    laboratory.good(on=ago(20))
    refused = laboratory.take_in(calibrated_on=ago(10)).number
    laboratory.refuse(refused)
    laboratory.take_in(*BAD, *LEFT)
    with laboratory.room.look() as db:
        item = find_item(db, laboratory.tag)
        assert [(one.id, one.standing) for one in certificates(db, item)] == [
            (3, "received"),
            (2, "refused"),
            (1, "accepted"),
        ]
        found = drift(db, item)
    assert [nominal.at_mpa for nominal in found.nominals] == [20, 40, 70]
    assert {one.calibration for one in found.points} == {1, 3}
    first, second, third = found.nominals[0].points
    assert first.error_percent == pytest.approx(1.0)
    assert second.error_percent == pytest.approx(100 * (660 / 606 - 1))  # Against its own chart by then.
    assert third.stage == "as left"


def test_an_unknown_certificate(laboratory: Laboratory) -> None:
    with laboratory.room.look() as db, pytest.raises(NotFound, match="no certificate 9"):
        find_certificate(db, 9)
