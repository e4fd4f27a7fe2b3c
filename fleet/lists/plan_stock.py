"""What a plan may use: the pieces of a site that nothing stands against, until when, and when busy."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select

from fleet.bolting.findings import Severity
from fleet.lists.items import item_facts
from fleet.lists.parts import pieces
from fleet.measures.tags import show_tag
from fleet.measures.times import start_of_day, zone
from fleet.planning.facts import Busy
from fleet.records import ItemRow, ModelRow
from fleet.rules.loans import Wish, judge

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date, datetime
    from zoneinfo import ZoneInfo

    from sqlalchemy.engine import Connection

    from fleet.lists.parts import Piece
    from fleet.lists.sites import SiteLine
    from fleet.rules.loans import ItemFacts

_ITEMS = (
    select(ItemRow.id)
    .where(ItemRow.site_id == bindparam("site"), ItemRow.retired_on.is_(None))
    .order_by(ItemRow.strength, ItemRow.tag)
)
_SIZES = select(
    ModelRow.designation, ModelRow.width_mm, ModelRow.height_mm, ModelRow.weight_kg, ModelRow.head
).where(ModelRow.head.is_not(None))


@dataclass(frozen=True, slots=True)
class Usable:
    """One piece that may be planned with, through ``due_on``, outside the times it is busy."""

    piece: Piece
    due_on: date | None
    busy: tuple[Busy, ...]

    def free(self, starts_at: datetime, ends_at: datetime, last_day: date) -> bool:
        """Whether it may be used all of [starts_at, ends_at), of which this is the last day."""
        in_date = self.due_on is None or last_day <= self.due_on
        return in_date and not any(b.starts_at < ends_at and starts_at < b.ends_at for b in self.busy)


@dataclass(frozen=True, slots=True)
class Sizes:
    """The room that a wrench of a model takes in mm, its weight in kg, and its head; None when not known."""

    width_mm: float | None
    height_mm: float | None
    weight_kg: float | None
    head: str


@dataclass(frozen=True, slots=True)
class Stock:
    """What may be planned with, the weakest first; what may not and why; how big wrenches are by model."""

    usable: tuple[Usable, ...]
    aside: tuple[str, ...]
    sizes: Mapping[str, Sizes]


def plan_stock(db: Connection, site: SiteLine, first_day: date, *, now: datetime) -> Stock:
    """The pieces of a site that may go out on this day, or are to be back and may go out then."""
    ids = list(db.execute(_ITEMS, {"site": site.id}).scalars())
    facts, today, there = item_facts(db, ids, now=now), site.today(now), zone(site.time_zone)
    begins = max(first_day, today)
    usable, aside = [], []
    for piece in pieces(db, ids):
        item = facts[piece.id]
        why = _why_not(item, site.code, begins, today)
        if why:
            aside.append(f"{show_tag(piece.tag)} {piece.kind} {piece.model}: {why}")
        else:
            due_on = min((due.due_on for due in item.dues if due.due_on), default=None)
            usable.append(Usable(piece, due_on, _busy(item, there, now)))
    sizes = {row.designation: Sizes(*row[1:4], row.head or "") for row in db.execute(_SIZES)}
    return Stock(tuple(usable), tuple(aside), sizes)


def _why_not(item: ItemFacts, site: str, begins: date, today: date) -> str | None:
    """The first reason that will still be one on the day; what is reserved or out is only busy."""
    if item.out and item.out.back_on < today:
        return f"late back from {item.out.job}."
    wish = Wish("", site, begins, begins, asked_on=today)
    verdict = judge(replace(item, out=None, kept=(), waived=()), wish)
    stops = (found.sentence for found in verdict.findings if found.severity is not Severity.NOTE)
    return next(stops, None)


def _busy(item: ItemFacts, there: ZoneInfo, now: datetime) -> tuple[Busy, ...]:
    """When it is out or reserved, in whole days: nothing goes out on a day on which another job has it."""
    day = timedelta(days=1)
    spans = [
        (start_of_day(one.first_day, there), start_of_day(one.last_day + day, there)) for one in item.kept
    ]
    if item.out:
        spans.append((now, max(now + day, start_of_day(item.out.back_on + day, there))))
    return tuple(Busy(*span) for span in sorted(spans))
