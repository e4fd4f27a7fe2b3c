"""A counter at which things are handed out, taken back, and undone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from fleet import records
from fleet.desk.loans import Issued, IssueSlip, issue
from fleet.desk.returns import Receipt, ReturnSlip, take_back
from fleet.desk.undoing import Undone, undo_issue, undo_return
from fleet.lists.matters import matters
from fleet.lists.sites import find_site
from fleet.lists.traces import trace
from fleet.records.base import rows_of
from tests.shop import TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop


@dataclass
class Counter:
    """Two keepers, a fitter, a job, a wrench that may go out, and its calibration by use."""

    room: Room
    shop: Shop
    clock: Clock
    site: int = 0
    job: int = 0
    item: int = 0
    tag: str = ""

    def issue(self, *tags: str, client: str = "i1") -> Issued:
        with self.room.act() as db:
            slip = IssueSlip(client, tags or (self.tag,), "F1", "J-1", TODAY + timedelta(days=5))
            return issue(db, slip, by=self.shop.actor("K1"), now=self.room.now(db))

    def take_back(self, client: str = "r1", **changed: Any) -> Receipt:  # noqa: ANN401  Fields of a slip.
        said: Any = {"item": self.tag, "cycles": 40, "minutes": 90, "condition": "fine"} | changed
        with self.room.act() as db:
            return take_back(db, ReturnSlip(client, **said), by=self.shop.actor("K1"), now=self.room.now(db))

    def undo_return(self, client: str = "u1", by: str = "K1") -> Undone:
        with self.room.act() as db:
            line = db.execute(
                select(records.LoanLineRow.id).where(records.LoanLineRow.item_id == self.item)
            ).scalars()
            return undo_return(db, max(line), client_id=client, by=self.shop.actor(by), now=self.room.now(db))

    def undo_issue(self, loan: int, client: str = "u1", by: str = "K1") -> Undone:
        with self.room.act() as db:
            return undo_issue(db, loan, client_id=client, by=self.shop.actor(by), now=self.room.now(db))

    def rows(self, entity: type[records.Base], *columns: str) -> list[tuple[Any, ...]]:
        table = rows_of(entity)
        chosen = [table.c[name] for name in columns] or list(table.c)
        with self.room.look() as db:
            return [tuple(row) for row in db.execute(select(*chosen).order_by(*table.primary_key))]

    def acts(self) -> list[str]:
        return [act for (act,) in self.rows(records.EntryRow, "act")]

    def stand(self) -> list[object]:
        """All that a return moves, apart from what is only ever added to."""
        tables = (records.ItemRow, records.DueLineRow, records.LoanRow, records.LoanLineRow)
        with self.room.look() as db:
            now = self.room.now(db)
            told = matters(db, find_site(db, "NORTH"), now)
            touched = trace(db, self.item, since=None, until=TODAY)
        return [*map(self.rows, tables), told, touched]


def open_counter(room: Room, shop: Shop, clock: Clock) -> Counter:
    made = Counter(room, shop, clock, shop.site())
    for badge, *roles in (("K1", "keeper"), ("K2", "keeper"), ("S1", "safety officer"), ("F1",)):
        shop.person(badge, made.site, *roles, address=f"{badge.lower()}@tool-room.example")
    task = shop.task("calibration", "wrench", every_months=12, every_cycles=100)
    made.item, made.tag = shop.item(shop.model("wrench"), made.site)
    shop.did(made.item, task, TODAY - timedelta(days=30))
    made.job = shop.job(made.site)
    return made
