"""Meters: what an item's ledger of use adds up to, now and on a day in the past."""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING

from sqlalchemy import BindParameter, bindparam, func, select, update

from fleet.records import ItemRow, UsageRow
from fleet.records.base import rows_of

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from fleet.desk.imports.work import Work

_CHUNK = 1_000
_ITEMS = rows_of(ItemRow)
_IDS: BindParameter[int] = bindparam("ids", expanding=True)
_LOCK = select(ItemRow.id).where(ItemRow.id.in_(_IDS)).order_by(ItemRow.id).with_for_update()
_RECOUNT = (
    update(_ITEMS)
    .where(_ITEMS.c.id.in_(_IDS))
    .values(
        cycles=select(func.coalesce(func.sum(UsageRow.cycles), 0))
        .where(UsageRow.item_id == _ITEMS.c.id)
        .scalar_subquery(),
        minutes=select(func.coalesce(func.sum(UsageRow.minutes), 0))
        .where(UsageRow.item_id == _ITEMS.c.id)
        .scalar_subquery(),
        # What was used is no longer in store, whatever the loans on record say.
        first_out_on=func.coalesce(
            _ITEMS.c.first_out_on,
            select(func.min(UsageRow.used_on))
            .where(UsageRow.item_id == _ITEMS.c.id, UsageRow.reverses_id.is_(None))
            .scalar_subquery(),
        ),
    )
)
_USE = (
    select(UsageRow.item_id, UsageRow.used_on, func.sum(UsageRow.cycles), func.sum(UsageRow.minutes))
    .where(UsageRow.item_id.in_(_IDS))
    .group_by(UsageRow.item_id, UsageRow.used_on)
    .order_by(UsageRow.item_id, UsageRow.used_on)
)


def recount(work: Work, items: Iterable[int]) -> None:
    """Set the meters of these items to the sums of their ledgers, many items per statement."""
    ids = sorted(items)
    for start in range(0, len(ids), _CHUNK):
        chosen = {"ids": ids[start : start + _CHUNK]}
        if work.db.dialect.name == "postgresql":
            # A return at another desk must be in the sum, so its item is waited for before the sum is taken.
            work.db.execute(_LOCK, chosen)
        work.db.execute(_RECOUNT, chosen)
    work.known.forget("items")


class Meters:
    """What the meters of some items read on any day, by their use on record."""

    def __init__(self, work: Work, items: Iterable[int]) -> None:
        self.days: dict[int, list[date]] = {}
        self.readings: dict[int, list[tuple[int, int]]] = {}
        ids = sorted(items)
        for start in range(0, len(ids), _CHUNK):
            for item, used_on, cycles, minutes in work.db.execute(_USE, {"ids": ids[start : start + _CHUNK]}):
                before = self.readings[item][-1] if item in self.readings else (0, 0)
                self.days.setdefault(item, []).append(used_on)
                reading = (before[0] + int(cycles), before[1] + int(minutes))
                self.readings.setdefault(item, []).append(reading)

    def at(self, item: int, day: date) -> tuple[int, int]:
        """Cycles and minutes at the end of a day."""
        passed = bisect_right(self.days.get(item, []), day)
        return self.readings[item][passed - 1] if passed else (0, 0)
