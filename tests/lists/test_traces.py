"""What an item touched: which loans, jobs and joints, at which pressure, and how wrong the torque may be."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import count
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet.ledgers.reviews import open_review
from fleet.lists.traces import trace
from fleet.records import (
    ChartPointRow,
    ChartRow,
    EntryRow,
    ImpactLineRow,
    ImpactReviewRow,
    JointRow,
    LoanLineRow,
    LoanRow,
    ReservationRow,
    UsageRow,
)
from fleet.rules.impact import judge_touched
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from fleet.rules.impact import Touched
    from tests.shop import Shop

numbers = count(1)
MARCH = datetime(2026, 3, 10, 15, 0, tzinfo=UTC)
APRIL = datetime(2026, 4, 14, 15, 0, tzinfo=UTC)


@dataclass
class Ledger:
    """A room with one wrench, one gauge and two joints, to which loans are added."""

    room: Room
    shop: Shop
    site: int
    model: int
    wrench: int
    gauge: int
    job: int
    a1: int
    a2: int

    def lent(
        self, *items: int, at: datetime, days: int = 2, joint: int | None = None, cycles: int = 40
    ) -> tuple[int, ...]:
        """One loan that came back after so many days, each item with the same use; answers its lines."""
        loan = self.shop.put(
            LoanRow,
            client_id=f"loan-{next(numbers)}",
            site_id=self.site,
            job_id=self.job,
            borrower_id=4,
            issued_at=at,
            issued_by_id=1,
            back_on=(at + timedelta(days=days)).date(),
        )
        back = at + timedelta(days=days)
        lines = tuple(
            self.shop.put(LoanLineRow, loan_id=loan, item_id=item, returned_at=back, condition="fine")
            for item in items
        )
        for item, line in zip(items, lines, strict=True):
            self.used(item, back.date(), line=line, joint=joint, cycles=cycles)
        return lines

    def used(
        self,
        item: int,
        on: date,
        *,
        line: int | None = None,
        joint: int | None = None,
        cycles: int = 40,
        **more: object,
    ) -> int:
        return self.shop.put(
            UsageRow,
            client_id=f"use-{next(numbers)}",
            item_id=item,
            loan_line_id=line,
            job_id=self.job if line else None,
            joint_id=joint,
            cycles=cycles,
            minutes=0,
            used_on=on,
            recorded_at=NOON,
            **more,
        )

    def reserved(self, item: int, joint: int) -> None:
        at = NOON + timedelta(days=next(numbers) * 3)
        self.shop.put(
            ReservationRow,
            client_id=f"kept-{next(numbers)}",
            item_id=item,
            job_id=self.job,
            joint_id=joint,
            starts_at=at,
            ends_at=at + timedelta(days=1),
            reserved_at=NOON,
            reserved_by_id=1,
        )

    def touched(self, item: int, since: date | None = None, until: date = TODAY) -> list[Touched]:
        with self.room.look() as db:
            return trace(db, item, since=since, until=until)

    def joints(self, item: int, since: date | None = None, until: date = TODAY) -> list[str | None]:
        return [one.joint for one in self.touched(item, since, until)]


@pytest.fixture
def ledger(room: Room, shop: Shop) -> Ledger:
    site = shop.site()
    for badge, *roles in (("K1", "keeper"), ("P1", "planner"), ("S1", "safety officer"), ("F1",)):
        shop.person(badge, site, *roles)
    job = shop.job(site)
    joints = [
        shop.put(
            JointRow,
            job_id=job,
            mark=mark,
            bolts=8,
            torque_written="x",
            torque_nm=torque,
            tolerance_percent=5.0,
        )
        for mark, torque in (("A1", 900.0), ("A2", 1650.0))
    ]
    model = shop.model("wrench")
    wrench, _ = shop.item(model, site)
    gauge, _ = shop.item(shop.model("gauge"), site)
    return Ledger(room, shop, site, model, wrench, gauge, job, *joints)


def test_use_at_a_named_joint_is_traced_to_that_joint_alone(ledger: Ledger) -> None:
    (line,) = ledger.lent(ledger.wrench, at=MARCH, joint=ledger.a1)
    ledger.reserved(ledger.wrench, ledger.a2)
    (one,) = ledger.touched(ledger.wrench)
    assert (one.loan_line_id, one.joint, one.target_torque_nm, one.cycles) == (line, "A1", 900.0, 40)
    assert (one.borrower, one.job) == ("Fin Fitter", "J-1")
    assert (one.first_on, one.last_on) == (date(2026, 3, 10), date(2026, 3, 12))


def test_without_a_named_joint_the_reserved_one_counts_and_else_every_joint_of_the_job(
    ledger: Ledger,
) -> None:
    ledger.lent(ledger.wrench, at=MARCH)
    assert ledger.joints(ledger.wrench) == ["A1", "A2"]
    ledger.reserved(ledger.wrench, ledger.a2)
    assert ledger.joints(ledger.wrench) == ["A2"]


def test_the_day_of_the_last_good_result_itself_is_in_question_and_the_day_before_is_not(
    ledger: Ledger,
) -> None:
    ledger.lent(ledger.wrench, at=MARCH, joint=ledger.a1)
    ledger.lent(ledger.wrench, at=APRIL, joint=ledger.a2)
    assert ledger.joints(ledger.wrench, since=date(2026, 3, 12)) == ["A1", "A2"]
    assert ledger.joints(ledger.wrench, since=date(2026, 3, 13)) == ["A2"]
    assert ledger.joints(ledger.wrench, until=date(2026, 4, 1)) == ["A1"]


def test_use_that_was_reversed_touched_nothing_and_what_replaced_it_did(ledger: Ledger) -> None:
    wrong = ledger.used(ledger.wrench, TODAY, cycles=400)
    ledger.used(ledger.wrench, TODAY, cycles=-400, reverses_id=wrong, reason="a slip of the finger")
    assert ledger.touched(ledger.wrench) == []
    ledger.used(ledger.wrench, TODAY, cycles=40)
    (one,) = ledger.touched(ledger.wrench)
    assert (one.cycles, one.job, one.joint) == (40, None, None)


def test_a_loan_that_is_still_out_is_traced_though_no_use_is_booked_yet(ledger: Ledger) -> None:
    loan = ledger.lent(ledger.gauge, at=APRIL, joint=ledger.a1)
    assert len(loan) == 1
    still_out = ledger.shop.put(
        LoanRow,
        client_id="still-out",
        site_id=ledger.site,
        job_id=ledger.job,
        borrower_id=4,
        issued_at=NOON - timedelta(days=1),
        issued_by_id=1,
        back_on=TODAY,
    )
    ledger.shop.put(LoanLineRow, loan_id=still_out, item_id=ledger.wrench)
    found = ledger.touched(ledger.wrench)
    assert [(one.joint, one.cycles, one.last_on) for one in found] == [("A1", 0, TODAY), ("A2", 0, TODAY)]


def test_a_review_names_the_pressure_that_was_set_and_the_error_there(ledger: Ledger) -> None:
    ledger.lent(ledger.wrench, at=NOON, days=0, joint=ledger.a1)
    by = ledger.shop.actor("K1")
    asked: list[float | None] = []

    def error_at(pressure: float | None) -> float | None:
        asked.append(pressure)
        return -6.5

    with ledger.room.act() as db:
        review = open_review(
            db,
            item_id=ledger.wrench,
            calibration_id=None,
            cause="As found 6.5 % low.",
            error_at=error_at,
            since_on=date(2026, 1, 1),
            until_on=TODAY,
            by=by,
            now=NOON,
        )
    with ledger.room.look() as db:
        kept = db.execute(select(ImpactReviewRow.due_on, ImpactReviewRow.closed_at)).one()
        line = db.execute(select(ImpactLineRow.pressure_mpa, ImpactLineRow.error_percent)).one()
        entry = db.execute(select(EntryRow.act, EntryRow.body)).one()
    assert review == 1
    assert tuple(kept) == (TODAY + timedelta(days=14), None)
    # The chart is a straight line of 30 N·m per MPa: 900 N·m at 30 MPa.
    assert line[0] == pytest.approx(30.0)
    assert line[1] == -6.5
    assert asked == [pytest.approx(30.0)]
    assert entry.act == "review opened"
    assert '"torque_error_percent":-6.5' in entry.body


def test_the_chart_in_force_then_counts_not_the_one_that_replaced_it(ledger: Ledger) -> None:
    old = ledger.shop.put(
        ChartRow,
        model_id=ledger.model,
        item_id=ledger.wrench,
        source="certificate 1",
        entered_at=MARCH - timedelta(days=9),
        replaced_at=APRIL - timedelta(days=1),
    )
    for pressure, torque in ((10.0, 400.0), (70.0, 2800.0)):
        ledger.shop.put(
            ChartPointRow,
            chart_id=old,
            pressure_written="x",
            pressure_mpa=pressure,
            torque_written="x",
            torque_nm=torque,
        )
    ledger.lent(ledger.wrench, at=MARCH, joint=ledger.a1)
    ledger.lent(ledger.wrench, at=APRIL, joint=ledger.a1)
    # In April no chart was on record: the model's was entered later. What is not known is not guessed.
    assert [[chart.source for chart in one.charts] for one in ledger.touched(ledger.wrench)] == [
        ["certificate 1"],
        [],
    ]


def test_a_gauge_is_traced_through_the_wrench_that_worked_with_it(ledger: Ledger) -> None:
    ledger.lent(ledger.wrench, ledger.gauge, at=NOON, days=0, joint=ledger.a1)
    other, _ = ledger.shop.item(ledger.model, ledger.site)
    ledger.lent(other, at=NOON, days=0, joint=ledger.a1)
    (one,) = ledger.touched(ledger.gauge)
    assert [chart.source for chart in one.charts] == ["plate"]
    (judged,) = judge_touched("gauge", [one], lambda _pressure: 2.0)
    # It showed 30 MPa where 30 / 1.02 was applied, and the chart goes through zero: 1 / 1.02 of the torque.
    assert judged.pressure_mpa == pytest.approx(30.0)
    assert judged.error_percent == pytest.approx((1 / 1.02 - 1) * 100)
