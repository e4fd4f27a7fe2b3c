"""A workbench with one wrench on it, for tests of repairs, mistakes and limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from fleet.desk.repairs import Repaired, RepairSlip, record_repair
from fleet.desk.upkeep import DoneSlip, Undone, record_done, withdraw
from fleet.records import DueLineRow, LimitRow, LoanLineRow, LoanRow
from fleet.rules.evidence import Work
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from datetime import date

    from fleet.room import Room
    from tests.shop import Clock, Shop

WHY = "Seals of the rod end changed, it wept"


@dataclass
class Bench:
    """A workbench with one wrench, whose calibration must be done again after new seals."""

    room: Room
    shop: Shop
    clock: Clock
    site: int
    task: int
    item: int
    tag: str

    def repair(
        self,
        work: Work = Work.SEAL_KIT,
        on: date = TODAY,
        badge: str = "K1",
        **more: Any,  # noqa: ANN401  Fields of a slip.
    ) -> Repaired:
        slip = RepairSlip(
            **({"client_id": "r-1", "item": self.tag, "work": work} | more), description=WHY, done_on=on
        )
        by = self.shop.actor(badge)
        with self.room.act() as db:
            return record_repair(db, slip, by=by, now=self.room.now(db))

    def calibrate(self, on: date = TODAY, client: str = "d-1") -> int:
        by = self.shop.actor("K1")
        with self.room.act() as db:
            slip = DoneSlip(client, self.tag, "calibration", on)
            return record_done(db, slip, by=by, now=self.room.now(db)).entry

    def withdraw(self, entry: int, reason: str = "It was the other wrench", client: str = "w-1") -> Undone:
        by = self.shop.actor("K1")
        with self.room.act() as db:
            return withdraw(db, entry, reason, client_id=client, by=by, now=self.room.now(db))

    def due(self) -> date | None:
        return self.line().due_on  # type: ignore[no-any-return]

    def line(self) -> Any:  # noqa: ANN401  One row.
        with self.room.look() as db:
            return db.execute(select(DueLineRow.__table__).where(DueLineRow.item_id == self.item)).one()

    def limit(self, **clocks: int) -> int:
        return self.shop.put(
            LimitRow,
            item_id=self.item,
            task_id=self.task,
            reason="The maker allows it",
            document="Letter 4",
            set_at=NOON,
            **clocks,
        )

    def lend(self) -> None:
        job = self.shop.job(self.site)
        loan = self.shop.put(
            LoanRow,
            client_id="loan",
            site_id=self.site,
            job_id=job,
            borrower_id=2,
            issued_at=NOON,
            issued_by_id=1,
            back_on=TODAY,
        )
        self.shop.put(LoanLineRow, loan_id=loan, item_id=self.item)
