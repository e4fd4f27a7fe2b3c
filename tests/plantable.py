"""A planner's table: one kit on the shelves, two jobs, and plans made, proposed and accepted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from fleet import records
from fleet.desk.plans import Accepted, accept, propose
from fleet.lists.jobs import find_job
from fleet.lists.plan_facts import gather
from fleet.lists.plan_kits import complete
from fleet.lists.reservations import reservations
from fleet.lists.sites import find_site
from fleet.planning.facts import Limits
from fleet.planning.plan import make_plan
from fleet.rules.plans import Draft, SitePlan
from tests.lists.rack import RUST, Rack, build
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop

WEEKS = TODAY, TODAY + timedelta(days=13)


@dataclass
class Table:
    """A planner's table: one kit on the shelves, two jobs of ten days without joints."""

    rack: Rack
    room: Room
    shop: Shop

    def joint(self, job: str = "J-1", mark: str = "F-1", **changed: Any) -> int:  # noqa: ANN401  Any field.
        with self.room.look() as db:
            job_id = find_job(db, job).id
        values = {
            "bolts": 12,
            "across_flats_written": "2 3/8 in",
            "across_flats_mm": 60.325,
            "torque_written": "1000 N·m",
            "torque_nm": 1000.0,
            "loosening_factor": 1.5,
            "loosening_reason": RUST,
        }
        return self.shop.put(records.JointRow, job_id=job_id, mark=mark, **(values | changed))

    def make(self, first: date = WEEKS[0], last: date = WEEKS[1]) -> SitePlan:
        with self.room.look() as db:
            ground = gather(db, find_site(db, None), first, last, now=self.room.now(db))
        return complete(ground, make_plan(ground.facts, limits=Limits(seconds=10)))

    def propose(self, made: SitePlan, client: str = "p1", by: str = "P1") -> int:
        actor = self.shop.actor(by)
        draft = Draft(NOON, NOON + timedelta(days=14), 4.0, (made,))
        with self.room.act() as db:
            return propose(db, client, draft, by=actor, now=self.room.now(db))

    def accept(self, number: int, by: str = "P1") -> Accepted:
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return accept(db, number, by=actor, now=self.room.now(db))

    def act(self, what: Any, *words: object, by: str = "P1") -> None:  # noqa: ANN401  Any act.
        actor = self.shop.actor(by)
        with self.room.act() as db:
            what(db, *words, by=actor, now=self.room.now(db))

    def kept(self) -> list[tuple[str, str | None, str]]:
        with self.room.look() as db:
            found = reservations(db, since=NOON - timedelta(days=1))
        return sorted((line.job, line.joint, line.tag) for line in found)

    def second_kit(self) -> None:
        """Another of everything."""
        self.rack.thing("pump", relief_advance_mpa=70.0, relief_retract_mpa=10.0)
        self.rack.thing("gauge", mwp_advance_mpa=100.0, graduation_mpa=0.5)
        self.rack.thing("hose")
        self.rack.wrench(2500.0)
        self.rack.socket(25.4)


def lay(room: Room, shop: Shop) -> Table:
    rack = build(room, shop)
    for badge, role in (("K1", "keeper"), ("S1", "safety officer")):
        shop.person(badge, rack.site, role)
    return Table(rack, room, shop)
