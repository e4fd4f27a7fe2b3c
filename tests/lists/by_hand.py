"""The kit search done by hand: every kit of a small room is put together, judged and compared."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

from sqlalchemy import select

from fleet import records
from fleet.lists.items import item_facts
from fleet.lists.kit_finding import KitQuestion, ask
from fleet.lists.parts import Piece, kit_of, pieces
from fleet.rules.kits import judge_kit
from fleet.rules.loans import Wish, judge
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.kit_answers import Asked
    from fleet.room import Room

NEVER = 100_000
Key = tuple[int, int, int]


def by_hand(room: Room, question: KitQuestion, needed_nm: float) -> list[Key]:
    """How good every kit is that does for the joint, the best first, by none of the search's own steps.

    Oversize in per cent, days to the next due day below zero, moves.
    """
    with room.look() as db:
        hand = _Hand(db, ask(db, question, now=NOON), needed_nm)
        return sorted(hand.keys())


class _Hand:
    def __init__(self, db: Connection, asked: Asked, needed_nm: float) -> None:
        self.asked, self.needed_nm = asked, needed_nm
        item, model, due = records.ItemRow, records.ModelRow, records.DueLineRow
        plates = select(item.id, item.shelf, item.strength, model.width_mm, model.weight_kg).join(
            model, model.id == item.model_id
        )
        self.rows = {row.id: row for row in db.execute(plates)}
        self.first: dict[int, date] = {}
        for one, day in db.execute(select(due.item_id, due.first_on).where(due.first_on.is_not(None))):
            if day is not None:
                self.first[one] = min(day, self.first.get(one, day))
        self.facts = item_facts(db, sorted(self.rows), now=NOON)
        last = asked.window.last_day
        wish = Wish("J-1", "NORTH", TODAY, last, asked_on=TODAY)
        self.free = [
            piece
            for piece in pieces(db, sorted(self.rows))
            if judge(self.facts[piece.id], wish).goes_out
            and self.first.get(piece.id, last) >= last
            and self._kept_as_a_whole(piece.id)
        ]

    def _overlapping(self, item: int) -> list[tuple[datetime, datetime]]:
        begins, ends = self.asked.window.starts_at, self.asked.window.ends_at
        kept = ((k.starts_at, k.ends_at) for k in self.facts[item].kept)
        return [(first, last) for first, last in kept if first < ends and last > begins]

    def _kept_as_a_whole(self, item: int) -> bool:
        begins, ends = self.asked.window.starts_at, self.asked.window.ends_at
        return all(first <= begins and last >= ends for first, last in self._overlapping(item))

    def _of(self, kind: str) -> list[Piece]:
        return [piece for piece in self.free if piece.kind == kind]

    def keys(self) -> Iterator[Key]:
        couplers: list[tuple[Piece, ...]] = [(), *((one,) for one in self._of("coupler"))]
        for wrench in filter(self._gets_at, self._of("wrench")):
            sockets: list[tuple[Piece, ...]] = [(one,) for one in self._of("socket")]
            parts = product(
                self._of("pump"),
                self._of("hose"),
                couplers,
                self._of("gauge"),
                [()] if wrench.linked else sockets,
            )
            for pump, hose, coupler, gauge, socket in parts:
                kit = (wrench, pump, hose, *coupler, gauge, *socket)
                if self._does(kit):
                    yield self._key(wrench, kit)

    def _does(self, kit: tuple[Piece, ...]) -> bool:
        verdict = judge_kit(kit_of(kit, self.asked.window.units), self.asked.joint)
        if verdict.stopped or verdict.available_nm is None:
            return False
        return verdict.available_nm * (1 - self.asked.margin) > self.needed_nm * (1 - 1e-9)

    def _gets_at(self, wrench: Piece) -> bool:
        limits, row = self.asked.limits, self.rows[wrench.id]
        for most, ours in ((limits.widest_mm, row.width_mm), (limits.heaviest_kg, row.weight_kg)):
            if most is not None and (ours is None or ours > most):
                return False
        if limits.drive_mm is None:
            return True
        return wrench.drive_mm is not None and abs(wrench.drive_mm - limits.drive_mm) < 0.3

    def _key(self, wrench: Piece, kit: tuple[Piece, ...]) -> Key:
        over = int(100 * (self.rows[wrench.id].strength / self.needed_nm - 1) + 1e-9)
        days = min((self.first[one.id] - TODAY).days if one.id in self.first else NEVER for one in kit)
        return over, -days, sum(self._moved(one, wrench) for one in kit)

    def _at_job(self, piece: Piece) -> bool:
        out = self.facts[piece.id].out
        return bool(self._overlapping(piece.id)) or (out is not None and out.job == "J-1")

    def _moved(self, piece: Piece, wrench: Piece) -> bool:
        if self._at_job(piece):
            return False
        if piece is wrench or self._at_job(wrench):
            return True
        shelf = self.rows[piece.id].shelf
        return shelf is None or shelf != self.rows[wrench.id].shelf
