"""A kit from the shelves held against a joint: does it fit, may it stand the pressure, may it go out."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select, update

from fleet import records
from fleet.lists.jobs import find_job
from fleet.records.base import rows_of
from tests.lists.rack import INCH, JOINT, PSI_10_000, Rack, Thing, build, codes
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop


@pytest.fixture
def rack(room: Room, shop: Shop) -> Rack:
    return build(room, shop)


# --- A kit that fits ----------------------------------------------------------------------------------------


def test_a_kit_that_fits_and_covers_is_usable(rack: Rack) -> None:
    check = rack.check()

    assert check.usable
    assert codes(check) == []
    assert all(connection.fits for connection in check.kit.circuit.connections)
    # Pump, hose, coupler, wrench on the advance line; pump, hose, wrench on the other; and the gauge.
    assert len(check.kit.circuit.connections) == 3 + 2 + 1
    assert check.kit.set_pressure is not None
    assert check.kit.set_pressure.pressure_mpa == pytest.approx(35.0)
    assert check.kit.available_nm == pytest.approx(2000.0)
    assert (check.instead, check.hire, check.first) == (None, None, None)


def test_a_class_of_gauge_too_coarse_for_the_joint_is_noted(rack: Rack) -> None:
    """Class 1.6 of 100 MPa is ±1.6 MPa (EN 837-1), which at 35 MPa is 4.6 %."""
    check = rack.check(replace(JOINT, tolerance_percent=3.0))
    assert ["may be off by 4.6 %" in found.sentence for found in check.kit.findings] == [True]
    assert check.usable


def test_what_a_hose_of_another_series_does_not_fit_is_named(rack: Rack) -> None:
    rack.coupling("B")
    check = rack.check(hose=rack.thing("hose", "B"))

    assert not check.usable
    assert {found.code for found in check.kit.findings} == {"misfit"}


def test_an_items_own_chart_goes_before_its_models(rack: Rack) -> None:
    """On the bench this wrench gave 10 % less than its plate says."""
    wrench = rack.kit["wrench"].item
    with rack.room.look() as db:
        model = db.execute(select(records.ItemRow.model_id).where(records.ItemRow.id == wrench)).scalar_one()
    rack.shop.chart(model, [(7.0, 180.0), (70.0, 1800.0)], item=wrench)

    check = rack.check()

    assert check.kit.available_nm == pytest.approx(1800.0)
    assert check.kit.set_pressure is not None
    assert check.kit.set_pressure.pressure_mpa == pytest.approx(1000 / 1800 * 70)


# --- What must never be put under pressure ------------------------------------------------------------------


def test_a_10000_psi_hose_fails_under_a_relief_of_700_bar(rack: Rack) -> None:
    check = rack.check(hose=rack.thing("hose", mwp_advance_mpa=PSI_10_000))

    assert not check.usable
    assert codes(check) == ["relief-above-rating"]
    assert "10,000 psi is 689.5 bar, not 700 bar" in check.kit.findings[0].sentence


def test_a_10000_psi_hose_does_under_a_relief_of_10000_psi(rack: Rack) -> None:
    pump = rack.thing("pump", relief_advance_mpa=PSI_10_000, relief_retract_mpa=10.0)
    assert rack.check(hose=rack.thing("hose", mwp_advance_mpa=PSI_10_000), pump=pump).usable


def test_the_relief_valve_as_set_on_this_very_pump_counts(rack: Rack) -> None:
    pump = rack.kit["pump"]
    values = {"relief_advance_written": "71 MPa", "relief_advance_mpa": 71.0}
    with rack.room.act() as db:
        db.execute(update(rows_of(records.ItemRow)).where(records.ItemRow.id == pump.item).values(values))

    assert "relief-above-rating" in codes(rack.check())


def test_flush_face_couplings_fail_however_they_fit(rack: Rack) -> None:
    """ISO 16028 ends at 31.5 MPa. No other wrench would help, so none is offered and none is to be hired."""
    rack.coupling("F", flush_face=True)
    rack.wrench(9000.0, "F", drive_mm=1.5 * INCH)
    pump = rack.thing("pump", "F", relief_advance_mpa=70.0, relief_retract_mpa=10.0)
    hose, coupler = rack.thing("hose", "F"), rack.thing("coupler", "F")

    check = rack.check(pump=pump, hose=hose, coupler=coupler, wrench=rack.wrench(2000.0, "F"))

    assert not check.usable
    assert all(connection.fits for connection in check.kit.circuit.connections)
    assert "flush-face" in codes(check)
    assert (check.instead, check.hire) == (None, None)
    assert check.first is not None
    assert "ISO 16028" in check.first


# --- Who may go out -----------------------------------------------------------------------------------------


def test_an_overdue_item_makes_the_kit_unusable(rack: Rack) -> None:
    check = rack.check(wrench=rack.wrench(2000.0, done=366))

    assert not check.usable
    assert codes(check) == []
    assert [verdict.goes_out for verdict in check.items].count(False) == 1


def lend(rack: Rack, thing: Thing, job: str, back_in: int) -> None:
    with rack.room.look() as db:
        job_id = find_job(db, job).id
    loan = rack.shop.put(
        records.LoanRow,
        client_id=f"loan-{thing.tag}",
        site_id=rack.site,
        job_id=job_id,
        borrower_id=1,
        issued_at=NOON - timedelta(days=3),
        issued_by_id=1,
        back_on=TODAY + timedelta(days=back_in),
    )
    rack.shop.put(records.LoanLineRow, loan_id=loan, item_id=thing.item)


@pytest.mark.parametrize(
    ("job", "back_in", "begins_in", "usable"),
    [
        ("J-2", 3, 0, False),
        ("J-2", 3, 4, True),
        ("J-2", 4, 4, False),
        # It should have been back yesterday: nobody counts on it.
        ("J-2", -1, 4, False),
        # It is at the job already.
        ("J-1", 3, 0, True),
    ],
)
def test_what_is_out_counts_when_it_is_to_be_back_before_the_job_or_is_at_the_job(
    rack: Rack, job: str, back_in: int, begins_in: int, *, usable: bool
) -> None:
    lend(rack, rack.kit["wrench"], job, back_in)
    begins = {"starts_at": NOON + timedelta(days=begins_in)}
    with rack.room.act() as db:
        db.execute(update(rows_of(records.JobRow)).where(records.JobRow.code == "J-1").values(begins))

    check = rack.check()

    assert check.usable == usable
    assert any("out with Fin Fitter for" in found.sentence for one in check.items for found in one.findings)


def test_a_concession_of_today_covers_nothing_next_week(rack: Rack) -> None:
    wrench = rack.wrench(2000.0, done=366)
    concession = {
        "item_id": wrench.item,
        "task_id": rack.task,
        "job_id": 1,
        "asked_by_id": 1,
        "granted_by_id": 2,
        "reason_code": "no other item",
        "reason": "The only wrench of this size on site.",
        "starts_at": NOON,
        "ends_at": NOON + timedelta(hours=24),
    }
    rack.shop.put(records.ConcessionRow, **concession)
    with rack.room.act() as db:
        db.execute(update(rows_of(records.JobRow)).values(ends_at=NOON + timedelta(hours=20)))
    assert rack.check(wrench=wrench).usable
    window = {"starts_at": NOON + timedelta(days=7), "ends_at": NOON + timedelta(days=7, hours=20)}
    with rack.room.act() as db:
        db.execute(update(rows_of(records.JobRow)).values(window))

    assert not rack.check(wrench=wrench).usable
