"""Certificates taken in: judged at once, refused whole, and acted on at once when one failed."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import select

from fleet import records
from fleet.desk.calibrations import Received
from fleet.desk.loans import IssueSlip, issue
from fleet.desk.returns import ReturnSlip, take_back
from fleet.desk.upkeep import retire
from fleet.lists.calibrations import certificates, files, find_certificate, points
from fleet.lists.drift import drift
from fleet.lists.items import find_item
from fleet.refusals import NotAllowed, NotFound, NotPossible, OffTheChart, Refusal, Unreadable
from fleet.rules.calibrations import DecisionRule
from fleet.rules.dcc import read_dcc
from tests.commands.typed import everything
from tests.digital import HOSTILE, admin, dcc
from tests.laboratory import BAD, GOOD, LEFT, Laboratory, ago
from tests.shop import TODAY

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.room import Room
    from tests.shop import Clock, Shop

RULE: dict[str, Any] = {"rule": DecisionRule.GUARD_FULL, "tolerance_percent": 3.0}


@pytest.fixture
def laboratory(room: Room, shop: Shop) -> Laboratory:
    return Laboratory(room, shop).open()


def body_of(laboratory: Laboratory, act: str) -> dict[str, Any]:
    with laboratory.room.look() as db:
        asked = select(records.EntryRow.body).where(records.EntryRow.act == act)
        found: dict[str, Any] = json.loads(db.execute(asked).scalars().all()[-1])
        return found


def unchanged(laboratory: Laboratory, act: Callable[[], object], kind: type[Refusal], said: str) -> None:
    before = everything(laboratory.room)
    with pytest.raises(kind, match=said) as refusal:
        act()
    assert "\n" not in str(refusal.value)
    assert everything(laboratory.room) == before


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
    unchanged(
        laboratory,
        lambda: laboratory.hand_in(replace(other, client_id=slip.client_id)),
        NotPossible,
        "used before",
    )


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


# --- Refused ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changed", "kind", "said"),
    [
        ({"serial": "HW-2"}, NotPossible, "another item's"),
        ({"calibrated_on": TODAY + timedelta(1)}, NotPossible, "still to come"),
        ({"calibrated_on": ago(401)}, NotPossible, "only received"),
        ({"number": None}, Unreadable, "--number"),
        ({"laboratory": None}, Unreadable, "--laboratory"),
        ({"calibrated_on": None}, Unreadable, "--on"),
        ({"reference": " "}, NotPossible, "--reference"),
        ({"traceability": ""}, NotPossible, "--traceability"),
        ({"gauge": "G-none"}, NotFound, "G-none"),
        ({"gauge": "HW-1"}, NotPossible, "paired with a gauge"),
        ({"task": "paint"}, NotFound, "no upkeep task"),
        ({"rule": None}, NotPossible, "say how this one is to be judged"),
        ({"tolerance_percent": None}, NotPossible, "say how this one is to be judged"),
        ({"coverage_factor": 1.0}, Unreadable, "not an expanded one"),
    ],
)
def test_what_a_certificate_must_say(
    laboratory: Laboratory, changed: dict[str, Any], kind: type[Refusal], said: str
) -> None:
    unchanged(laboratory, lambda: laboratory.take_in(**(RULE | changed)), kind, said)


@pytest.mark.parametrize(
    ("typed", "kind", "said"),
    [
        (("as found; 71 MPa; 2130 N·m; 9 N·m",), OffTheChart, "maximum working pressure"),
        (("as found; 10 MPa; 300 N·m; 9 N·m",), OffTheChart, "outside the chart"),
        (("as found; 40 MPa; 1200 N·m",), Unreadable, "expanded uncertainty"),
        (GOOD[:1], Unreadable, "2 pressures or more"),
        ((*BAD, LEFT[0]), Unreadable, "2 pressures or more"),
    ],
)
def test_points_that_cannot_serve(
    laboratory: Laboratory, typed: tuple[str, ...], kind: type[Refusal], said: str
) -> None:
    unchanged(laboratory, lambda: laboratory.take_in(*typed, **RULE), kind, said)


def test_the_rule_cannot_be_changed_once_it_was_sent(laboratory: Laboratory) -> None:
    laboratory.send()
    others: tuple[dict[str, Any], ...] = ({"rule": DecisionRule.SIMPLE}, {"tolerance_percent": 5.0})
    for other in others:
        slip = laboratory.slip(**other)
        unchanged(laboratory, partial(laboratory.hand_in, slip), NotPossible, "were chosen when")
    assert laboratory.take_in(**RULE).as_found == "pass"


def test_a_certificate_of_before_it_was_sent_is_refused(laboratory: Laboratory) -> None:
    laboratory.send()
    unchanged(laboratory, lambda: laboratory.take_in(calibrated_on=ago(1)), NotPossible, "only sent away")


def test_a_certificate_older_than_the_accepted_one_is_refused(laboratory: Laboratory) -> None:
    laboratory.good(on=ago(5))
    unchanged(laboratory, lambda: laboratory.take_in(calibrated_on=ago(6)), NotPossible, "changes nothing")


def test_the_same_certificate_twice(laboratory: Laboratory) -> None:
    kept = (Received(b"stage,pressure,torque", "text/csv", "a.csv"),)
    laboratory.take_in(number="C-9", **RULE, files=kept)
    same = {"number": "c-9", "laboratory": "BENCH LAB", **RULE}
    unchanged(laboratory, lambda: laboratory.take_in(**same), NotPossible, "was taken in before, as number 1")
    again = {"item": laboratory.gauge, "kind": "gauge", **RULE, "files": kept}
    typed = ("as found; 200 bar; 203 bar; 2 bar",)
    unchanged(
        laboratory, lambda: laboratory.take_in(*typed, **again), NotPossible, "belongs to certificate C-9"
    )


def test_a_digital_certificate_of_another_item_or_with_other_words_is_refused(laboratory: Laboratory) -> None:
    slip = laboratory.slip(**RULE)
    typed = replace(slip.typed, number=None, laboratory=None, calibrated_on=None, readings=())
    other = read_dcc(dcc(administrative=admin(serial="HW-9")), "wrench")
    unchanged(
        laboratory,
        lambda: laboratory.hand_in(replace(slip, typed=typed, digital=other)),
        NotPossible,
        "another item's",
    )
    ours = read_dcc(dcc(), "wrench")
    typos: tuple[dict[str, Any], ...] = (
        {"number": "DCC-78"},
        {"laboratory": "Other"},
        {"calibrated_on": ago(1)},
    )
    for typo in typos:
        wrong = replace(slip, typed=replace(typed, **typo), digital=ours)
        unchanged(
            laboratory, partial(laboratory.hand_in, wrong), NotPossible, "is not that of the certificate"
        )
    unchanged(
        laboratory,
        lambda: laboratory.hand_in(replace(slip, digital=replace(ours, number=slip.typed.number))),
        NotPossible,
        "leave --point out",
    )


def test_no_hostile_file_reaches_the_desk() -> None:
    for content, _ in HOSTILE.values():
        with pytest.raises(Unreadable):
            read_dcc(content, "wrench")


def test_retired_items_and_other_kinds(laboratory: Laboratory) -> None:
    hose = laboratory.shop.item(laboratory.shop.model("hose"), laboratory.site)[1]
    unchanged(
        laboratory, lambda: laboratory.take_in(item=hose, **RULE), NotPossible, "only wrenches and gauges"
    )
    with laboratory.room.act() as db:
        keeper = laboratory.shop.actor("K1")
        retire(db, laboratory.tag, "Body cracked at the lug", by=keeper, now=laboratory.room.now(db))
    unchanged(laboratory, lambda: laboratory.take_in(**RULE), NotPossible, "was retired")


@pytest.mark.parametrize("badge", ["P1", "F1"])
def test_planners_and_fitters_take_nothing_in(laboratory: Laboratory, badge: str) -> None:
    unchanged(laboratory, lambda: laboratory.take_in(by=badge, **RULE), NotAllowed, "role is needed")


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
