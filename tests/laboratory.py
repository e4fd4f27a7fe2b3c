"""A tool room with a wrench, its gauge, and somebody who may accept certificates. Invented."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from itertools import count
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from fleet import records
from fleet.desk.acceptance import Decided, accept, refuse
from fleet.desk.away import Back, SendSlip, Sent, send_away, take_from_away
from fleet.desk.calibrations import CertificateSlip, TakenIn, take_in
from fleet.records.base import rows_of
from fleet.rules.calibrations import DecisionRule
from fleet.rules.certificate_points import read_point
from fleet.rules.certificates import Certificate
from fleet.rules.evidence import Errand
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop

GOOD = (
    "as found; 20 MPa; 606 N·m; 6 N·m",
    "as found; 40 MPa; 1210 N·m; 10 N·m",
    "as found; 70 MPa; 2110 N·m; 15 N·m",
)
BAD = (
    "as found; 20 MPa; 660 N·m; 6 N·m",
    "as found; 40 MPa; 1290 N·m; 10 N·m",
    "as found; 70 MPa; 2200 N·m; 15 N·m",
)
LEFT = (
    "as left; 20 MPa; 602 N·m; 6 N·m",
    "as left; 40 MPa; 1203 N·m; 10 N·m",
    "as left; 70 MPa; 2103 N·m; 15 N·m",
)

RULE: dict[str, Any] = {"rule": DecisionRule.GUARD_FULL, "tolerance_percent": 3.0}


def ago(days: int) -> date:
    return TODAY - timedelta(days=days)


@dataclass
class Laboratory:
    """Types as little as a test has to say."""

    room: Room
    shop: Shop
    site: int = 0
    task: int = 0
    item: int = 0
    tag: str = ""
    gauge_item: int = 0
    gauge: str = ""
    numbers: count[int] = field(default_factory=lambda: count(1))

    def open(self) -> Laboratory:
        shop = self.shop
        self.site = shop.site()
        for badge, *roles in (("K1", "keeper"), ("P1", "planner"), ("S1", "safety officer"), ("F1",)):
            person = shop.person(badge, self.site, *roles)
            if badge in ("K1", "S1"):
                for kind in ("wrench", "gauge"):
                    self.competent(person, kind)
        self.task = shop.task(
            "calibration", "wrench", every_months=12, every_cycles=5000, proved_by="calibration"
        )
        shop.task("calibration", "gauge", every_months=12, proved_by="calibration")
        self.item, self.tag = shop.item(shop.model("wrench", "W-2000"), self.site, serial="HW-1")
        gauge = shop.model(
            "gauge", "G-1000", accuracy_class="1.6", graduation_mpa=1.0, graduation_written="10 bar"
        )
        self.gauge_item, self.gauge = shop.item(gauge, self.site, serial="G-7")
        return self

    def competent(self, person: int, kind: str, task: str = "calibration") -> None:
        self.shop.put(
            records.CompetenceRow,
            person_id=person,
            kind=kind,
            task=task,
            expires_on=date(2027, 1, 1),
            evidence="Course on torque calibration",
            granted_at=NOON,
        )

    def send(self, by: str = "K1", **changed: Any) -> Sent:  # noqa: ANN401  Any field.
        slip = SendSlip(
            f"s{next(self.numbers)}", self.tag, "Bench Lab", Errand.CALIBRATION, DecisionRule.GUARD_FULL, 3.0
        )
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return send_away(db, replace(slip, **changed), by=actor, now=self.room.now(db))

    def back(self, tag: str | None = None, by: str = "K1") -> Back:
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return take_from_away(db, tag or self.tag, by=actor, now=self.room.now(db))

    def slip(self, *points: str, kind: str = "wrench", **changed: Any) -> CertificateSlip:  # noqa: ANN401  As above.
        number = next(self.numbers)
        typed = {"number": f"C-{number}", "laboratory": "Bench Lab", "calibrated_on": TODAY, "serial": None}
        typed |= {name: changed.pop(name) for name in list(changed) if name in typed}
        factor = changed.pop("coverage_factor", None)
        readings = tuple(read_point(point, kind) for point in points or GOOD)
        certificate = Certificate(accreditation=None, coverage_factor=factor, readings=readings, **typed)  # type: ignore[arg-type]
        slip = CertificateSlip(
            f"c{number}",
            self.tag,
            certificate,
            None,
            "Torque transducer 5 kN·m",
            "National standard, through certificate T-9",
        )
        return replace(slip, **changed)

    def take_in(self, *points: str, by: str = "K1", **changed: Any) -> TakenIn:  # noqa: ANN401  As above.
        return self.hand_in(self.slip(*points, **changed), by=by)

    def hand_in(self, slip: CertificateSlip, by: str = "K1") -> TakenIn:
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return take_in(db, slip, by=actor, now=self.room.now(db))

    def accept(self, number: int, note: str | None = None, by: str = "K1") -> Decided:
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return accept(db, number, note, by=actor, now=self.room.now(db))

    def refuse(self, number: int, reason: str = "The wrong wrench stands on it", by: str = "K1") -> Decided:
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return refuse(db, number, reason, by=actor, now=self.room.now(db))

    def good(self, *points: str, on: date = TODAY, **changed: Any) -> int:  # noqa: ANN401  As above.
        """A certificate taken in and accepted, without having been sent away; answers its number."""
        taken = self.take_in(*points, calibrated_on=on, **(RULE | changed))
        return self.accept(taken.number).number

    def rows(self, entity: type[records.Base]) -> list[dict[str, object]]:
        with self.room.look() as db:
            return [dict(row) for row in db.execute(select(rows_of(entity)).order_by("id")).mappings()]
