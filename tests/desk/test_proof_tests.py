"""Proof tests and competences at the desk: what they write, and that nothing else can happen."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest

from fleet import records
from fleet.desk.competence import Competence, GrantSlip, end_competence, grant_competence
from fleet.desk.proof_tests import ProofTestSlip, Proved, record_proof_test
from fleet.lists.proof_tests import proof_tests
from fleet.measures.times import add_months
from fleet.refusals import NotAllowed, NotFound, NotPossible
from tests.inspecting import Bench
from tests.shop import TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop


@pytest.fixture
def bench(room: Room, shop: Shop) -> Bench:
    return Bench(room, shop).set_up()


@pytest.fixture
def gauge(bench: Bench) -> str:
    """A gauge to 1,600 bar, calibrated a month ago."""
    task = bench.shop.task("calibration", "gauge", every_months=12, proved_by="calibration")
    item, tag = bench.shop.item(
        bench.shop.model("gauge", range_written="1600 bar", range_mpa=160.0), bench.site
    )
    bench.shop.did(item, task, TODAY - timedelta(days=30))
    return tag


def prove(bench: Bench, gauge: str, client: str = "p1", by: str = "K1", **changed: Any) -> Proved:  # noqa: ANN401  Any field.
    slip = ProofTestSlip(client, bench.tag, "1400 bar", 45, tight=True, gauge=gauge, tested_on=TODAY)
    actor = bench.shop.actor(by)
    with bench.room.act() as db:
        return record_proof_test(db, replace(slip, **changed), by=actor, now=bench.room.now(db))


def test_a_passed_test_does_the_only_task_that_asks_for_one(bench: Bench, gauge: str) -> None:
    task = bench.shop.task("pressure test", "hose", every_months=12, proved_by="proof test")
    bench.may("K1", "pressure test")
    bench.shop.refresh(bench.item)

    done = prove(bench, gauge, tested_on=TODAY - timedelta(days=2))
    again = prove(bench, gauge, tested_on=TODAY - timedelta(days=2))

    assert (done.passed, done.fulfilled, done.held, done.reasons) == (True, "pressure test", False, ())
    assert (again.number, again.passed, again.fulfilled, again.again) == (
        done.number,
        True,
        "pressure test",
        True,
    )
    entry = bench.rows(records.UpkeepRow)[-1]
    assert (entry.task_id, entry.proof_test_id, entry.done_on) == (
        task,
        done.number,
        TODAY - timedelta(days=2),
    )
    due = [row.due_on for row in bench.rows(records.DueLineRow) if row.task_id == task]
    assert due == [add_months(TODAY - timedelta(days=2), 12)]


def test_without_such_a_task_it_is_kept_all_the_same(bench: Bench, gauge: str) -> None:
    assert prove(bench, gauge).fulfilled is None
    with bench.room.look() as db:
        (line,) = proof_tests(db, bench.item)
    assert (line.passed, line.pressure_written, line.gauge, line.by_name) == (
        True,
        "1400 bar",
        gauge,
        "Kim Keeper",
    )
    assert (line.pressure_mpa, line.required_mpa) == (140.0, 140.0)


def test_a_failed_one_is_on_record_on_hold_and_a_hard_stop(bench: Bench, gauge: str) -> None:
    done = prove(bench, gauge, held_seconds=20, tight=False)

    assert (done.passed, done.held) == (False, True)
    assert {"proof failed", "on hold"} <= set(bench.stops())
    (hold,) = bench.rows(records.HoldRow)
    assert hold.reason == (
        f"Proof test {done.number} was not passed: It was held for 20 seconds; it needs 30 to 60. It leaked."
    )
    body = json.loads(bench.entries("proof tested")[0].body)
    assert (body["passed"], body["held_seconds"], body["gauge"]) == (False, 20, gauge)
    assert [(one["line"], one["held_mpa"], one["required_mpa"]) for one in body["lines"]] == [
        ("advance", 140.0, 140.0),
        ("retract", 140.0, 140.0),
    ]
    assert prove(bench, gauge, "p2").passed
    assert "proof failed" not in bench.stops()


def test_a_weaker_retract_line_has_a_pressure_of_its_own(bench: Bench, gauge: str) -> None:
    model = bench.shop.model("hose", mwp_retract_written="150 bar", mwp_retract_mpa=15.0)
    tag = bench.shop.item(model, bench.site)[1]

    with pytest.raises(NotPossible, match=r"rated differently: .*--retract-pressure"):
        prove(bench, gauge, item=tag)
    done = prove(bench, gauge, item=tag, retract_pressure="290 bar")

    assert done.reasons[0].startswith("The retract line was held at ")
    row = bench.rows(records.ProofTestRow)[0]
    assert (row.pressure_written, row.pressure_mpa, row.required_mpa) == (
        "1400 bar, retract 290 bar",
        29.0,
        30.0,
    )


def test_what_cannot_be_is_refused_and_nothing_is_kept(bench: Bench, gauge: str) -> None:
    retired = bench.shop.item(bench.model, bench.site, retired_on=TODAY, retired_reason="Worn out")[1]
    wrong: list[tuple[dict[str, Any], str]] = [
        ({"tested_on": TODAY + timedelta(days=1)}, "is still to come"),
        ({"tested_on": TODAY - timedelta(days=500)}, "was only received on"),
        ({"item": retired}, "was retired on"),
        ({"required": "1000 bar"}, "leave --required out"),
        ({"pressure": "1700 bar"}, "cannot have shown"),
        ({"gauge": bench.tag}, "is a hose, not a gauge"),
        ({"task": "inspection"}, "asks for an inspection, and is not done by a proof test"),
    ]
    for changed, said in wrong:
        with pytest.raises(NotPossible, match=said):
            prove(bench, **{"gauge": gauge} | changed)
    with pytest.raises(
        NotAllowed, match=r"K2 has no competence for proof test on a hose\. Who may: Kim Keeper"
    ):
        prove(bench, gauge, by="K2")
    assert bench.rows(records.ProofTestRow) == []
    assert bench.rows(records.EntryRow) == []


# --- Competences --------------------------------------------------------------------------------------------

SLIP = GrantSlip("K2", "hose", "Inspection", TODAY + timedelta(days=90), "Instructed on 3 March")


def grant(bench: Bench, by: str = "S1", **changed: Any) -> Competence:  # noqa: ANN401  Any field.
    actor = bench.shop.actor(by)
    with bench.room.act() as db:
        return grant_competence(db, replace(SLIP, **changed), by=actor, now=bench.room.now(db))


def end(bench: Bench, by: str = "S1", task: str = "inspection", reason: str = "Moved to East") -> Competence:
    actor = bench.shop.actor(by)
    with bench.room.act() as db:
        return end_competence(db, "K2", "hose", task, reason, by=actor, now=bench.room.now(db))


def current(bench: Bench) -> list[Any]:
    mine = [row for row in bench.rows(records.CompetenceRow) if row.person_id == bench.people["K2"]]
    return [row for row in mine if row.ended_at is None]


def test_a_granted_competence_lets_its_person_inspect(bench: Bench) -> None:
    given = grant(bench)
    assert (given.person, given.task, given.renewed) == ("K2", "inspection", False)
    assert bench.inspect(by="K2").fulfilled == "inspection"
    entry = bench.entries("competence granted")[0]
    assert (entry.chain, entry.about, entry.person_name) == (0, "K2", "Sam Safety")
    assert json.loads(entry.body)["evidence"] == "Instructed on 3 March"


def test_renewing_ends_the_earlier_one_and_the_same_again_changes_nothing(bench: Bench) -> None:
    first, same = grant(bench), grant(bench)
    later = grant(bench, by="S2", expires_on=TODAY + timedelta(days=400))

    assert (same.number, same.again, later.renewed) == (first.number, True, True)
    assert [row.id for row in current(bench)] == [later.number]
    assert json.loads(bench.entries("competence granted")[-1].body)["ends"] == first.number


def test_an_ended_one_lets_nobody_inspect(bench: Bench) -> None:
    grant(bench)
    assert end(bench).task == "inspection"
    assert current(bench) == []
    with pytest.raises(NotAllowed, match="K2 has no competence"):
        bench.inspect(by="K2")
    with pytest.raises(NotFound, match="K2 has no competence for 'inspection' on a hose"):
        end(bench)


def test_only_a_safety_officer_grants_and_never_to_themself(bench: Bench) -> None:
    for by in ("K1", "P1", "F1"):
        with pytest.raises(NotAllowed, match="is not a safety officer at any site"):
            grant(bench, by)
        with pytest.raises(NotAllowed, match="is not a safety officer at any site"):
            end(bench, by)
    with pytest.raises(NotAllowed, match="Sam Safety cannot grant a competence to Sam Safety"):
        grant(bench, person="S1")
    with pytest.raises(NotPossible, match="There is no task 'polishing' for a hose"):
        grant(bench, task="polishing")
    with pytest.raises(NotPossible, match="Write down the evidence"):
        grant(bench, evidence="yes")
    with pytest.raises(NotPossible, match="has already passed"):
        grant(bench, expires_on=TODAY - timedelta(days=1))
    with pytest.raises(NotPossible, match="Write down why it ends"):
        end(bench, reason="so")
    assert current(bench) == []
