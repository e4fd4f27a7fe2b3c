"""What would come of a reservation before it is made: what stands against it, and what could be taken."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam

from fleet.bolting.findings import Severity
from fleet.bolting.parts import Kind
from fleet.lists.candidates import first_free, known_class, members
from fleet.lists.items import item_facts
from fleet.lists.reservations import EVERY, ReservationLine
from fleet.records import ReservationRow
from fleet.refusals import NotFound
from fleet.rules.item_classes import Wanted
from fleet.rules.reservations import judge_window

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.bolting.findings import Finding
    from fleet.lists.items import ItemLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.reservations import Window


_NUMBERED = EVERY.add_columns(ReservationRow.ended_at).where(ReservationRow.id == bindparam("number"))


def numbered(db: Connection, number: int) -> tuple[ReservationLine, datetime | None]:
    """One reservation by its number, and when it ended if it did."""
    row = db.execute(_NUMBERED, {"number": number}).first()
    if row is None:
        raise NotFound(f"There is no reservation {number}.")
    return ReservationLine(*row[:-1]), row[-1]


@dataclass(frozen=True, slots=True)
class Looked:
    """One item for the window: what was found against it, and an equal one where it cannot be had."""

    tag: str
    kind: str
    model: str
    findings: tuple[Finding, ...]
    instead: str | None = None

    @property
    def taken(self) -> bool:
        """Whether it cannot be reserved."""
        return any(one.severity is Severity.HARD for one in self.findings)


def look_at(
    db: Connection, site: SiteLine, items: Sequence[ItemLine], window: Window, *, now: datetime
) -> list[Looked]:
    """Each of these items, judged as a reservation judges it. No equal one is offered twice."""
    facts = item_facts(db, [item.id for item in items], now=now)
    without = {item.id for item in items}
    found = []
    for item in items:
        looked = Looked(item.tag, item.kind, item.model, judge_window(facts[item.id], window).findings)
        if looked.taken:
            equal = members(db, site.id, Wanted(Kind(item.kind), model=item.model))
            free = first_free(db, equal, window, now=now, without=without)
            if free:
                without.add(free[0].id)
                looked = Looked(item.tag, item.kind, item.model, looked.findings, free[0].tag)
        found.append(looked)
    return found


@dataclass(frozen=True, slots=True)
class Chosen:
    """What the room would choose of a class now, and how many there are at all."""

    wanted: Wanted
    tags: tuple[str, ...]
    known: int


def would_choose(
    db: Connection, site: SiteLine, wanted: Wanted, count: int, window: Window, *, now: datetime
) -> Chosen:
    """As many of the class as were asked for, or as there are free, the least oversize first."""
    wanted = known_class(db, wanted)
    some = members(db, site.id, wanted)
    chosen: dict[int, str] = {}
    while len(chosen) < count and (free := first_free(db, some, window, now=now, without=chosen)):
        chosen[free[0].id] = free[0].tag
    return Chosen(wanted, tuple(chosen.values()), len(some))
