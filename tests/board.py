"""Where reservations are asked for, for tests: a planner, two jobs, one wrench."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, TypeVar

from fleet.desk.reservations import Reserved, ReserveSlip, reserve, set_free
from fleet.lists.reservations import reservations
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy.engine import Connection

    from fleet.room import Room
    from fleet.rules.people import Actor
    from tests.shop import Shop


Answer = TypeVar("Answer")


def after(hours: float) -> datetime:
    return NOON + timedelta(hours=hours)


@dataclass
class Board:
    """A planner, two jobs of ten days, and one calibrated wrench."""

    room: Room
    shop: Shop
    site: int
    model: int
    task: int
    item: int
    tag: str

    def reserve(self, client: str = "v1", by: str = "P1", **changed: Any) -> Reserved:  # noqa: ANN401  Any field.
        slip = replace(ReserveSlip(client, (self.tag,), "J-1"), **changed)
        return self.act(lambda db, actor, now: reserve(db, slip, by=actor, now=now), by)

    def set_free(self, job: str = "J-1", reason: str = "Joint taken out of the plan", by: str = "P1") -> str:
        return self.act(lambda db, actor, now: set_free(db, self.tag, job, reason, by=actor, now=now), by)

    def act(self, what: Callable[[Connection, Actor, datetime], Answer], by: str) -> Answer:
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return what(db, actor, self.room.now(db))

    def live(self) -> list[tuple[str, str, datetime, datetime]]:
        with self.room.look() as db:
            found = reservations(db, since=datetime.min.replace(tzinfo=UTC))
        return [(line.tag, line.job, line.starts_at, line.ends_at) for line in found]

    def good(self) -> tuple[int, str]:
        item, tag = self.shop.item(self.model, self.site)
        self.shop.did(item, self.task, TODAY - timedelta(days=30))
        return item, tag
