"""An inspection bench for tests: a hose that somebody may inspect, and real pictures. Invented."""

from __future__ import annotations

import io
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from PIL import Image
from sqlalchemy import select

from fleet import records
from fleet.desk.inspections import Inspected, InspectionSlip, record_inspection
from fleet.desk.withdrawals import Withdrawn, withdraw_inspection
from fleet.lists.items import item_facts
from fleet.rules.evidence import Answer, Occasion
from fleet.rules.inspections import Given
from fleet.rules.loans import Wish, judge
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop

BEFORE_USE = "inspection before use"
YEAR_ON = TODAY + timedelta(days=365)
CUT = Given(1, Answer.REJECT, "Cut down to the braid near the pump end")
CAP = Given(12, Answer.NOTE, "One dust cap missing")


def picture(width: int = 64, height: int = 48, kind: str = "JPEG", mode: str = "RGB", **more: Any) -> bytes:  # noqa: ANN401  Whatever the picture library can write.
    """A real picture file: a slope of colours, so that no two of its corners are alike."""
    slope = Image.linear_gradient("L").resize((width, height))
    drawn = Image.merge("RGB", (slope, slope.transpose(Image.Transpose.ROTATE_180), slope)).convert(mode)
    written = io.BytesIO()
    drawn.save(written, kind, **more)
    return written.getvalue()


@dataclass
class Bench:
    """Two keepers, a safety officer, and one hose of a year whose inspection is overdue."""

    room: Room
    shop: Shop
    site: int = 0
    model: int = 0
    task: int = 0
    item: int = 0
    tag: str = ""
    people: dict[str, int] = field(default_factory=dict)

    def set_up(self) -> Bench:
        self.site = self.shop.site()
        for badge, *roles in (
            ("K1", "keeper"),
            ("K2", "keeper"),
            ("P1", "planner"),
            ("S1", "safety officer"),
            ("S2", "safety officer"),
            ("F1",),
        ):
            self.people[badge] = self.shop.person(badge, self.site, *roles)
        self.task = self.shop.task("inspection", "hose", every_months=6, proved_by="inspection")
        self.model = self.shop.model("hose", "H-6")
        self.item, self.tag = self.shop.item(self.model, self.site)
        self.shop.did(self.item, self.task, TODAY - timedelta(days=300))
        self.shop.job(self.site)
        for task in (BEFORE_USE, "inspection", "proof test"):
            self.may("K1", task)
        return self

    def may(
        self, badge: str, task: str, until: date = TODAY + timedelta(days=365), kind: str = "hose"
    ) -> int:
        return self.shop.put(
            records.CompetenceRow,
            person_id=self.people[badge],
            kind=kind,
            task=task,
            expires_on=until,
            evidence="Instructed on 3 March",
            granted_at=NOON,
        )

    def inspect(self, client: str = "i1", by: str = "K1", **changed: Any) -> Inspected:  # noqa: ANN401  Any field.
        slip = InspectionSlip(client, self.tag, Occasion.PERIODIC, (), TODAY, all_fine=True)
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return record_inspection(db, replace(slip, **changed), by=actor, now=self.room.now(db))

    def withdraw(self, number: int, client: str = "w1", by: str = "K1", **changed: str) -> Withdrawn:
        reason = changed.get("reason", "It was another hose on the bench")
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return withdraw_inspection(db, number, reason, client_id=client, by=actor, now=self.room.now(db))

    def stops(self) -> list[str]:
        """Why the hose stays in today, by code."""
        with self.room.look() as db:
            facts = item_facts(db, [self.item], now=self.room.now(db))[self.item]
        wish = Wish(job="J-1", site="NORTH", today=TODAY, back_on=TODAY)
        return [finding.code for finding in judge(facts, wish).findings]

    def rows(self, entity: type[records.Base]) -> list[Any]:
        with self.room.look() as db:
            return list(db.execute(select(*entity.__table__.columns)))

    def due_on(self) -> date | None:
        due = next(row for row in self.rows(records.DueLineRow) if row.item_id == self.item)
        assert isinstance(due.due_on, date)
        return due.due_on

    def entries(self, act: str) -> list[Any]:
        return [row for row in self.rows(records.EntryRow) if row.act == act]
