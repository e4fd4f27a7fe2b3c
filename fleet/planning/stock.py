"""How many pieces of each class are left at each time, and what can still be served from them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.planning.classes import Choice

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleet.planning.classes import Problem, Slot


class Stock:
    """What is left of every class at every point, once some choices are taken from it."""

    def __init__(self, problem: Problem, taken: Iterable[Choice] = ()) -> None:
        self.problem = problem
        self.free = [list(one.free) for one in problem.classes]
        for choice in taken:
            self.take(choice)

    def room(self, number: int, slot: Slot) -> int:
        """How many pieces of a class are free all through a slot."""
        return min(self.free[number][slot.first : slot.last])

    def take(self, choice: Choice) -> None:
        """Take the kits of a choice out."""
        for kit in choice.kits:
            self.move(kit, choice.slot, -1)

    def give_back(self, choice: Choice) -> None:
        """Put the kits of a choice back."""
        for kit in choice.kits:
            self.move(kit, choice.slot, 1)

    def takes(self, choice: Choice) -> bool:
        """Take the kits of a choice if all are free."""
        self.take(choice)
        if all(self.room(number, choice.slot) >= 0 for kit in choice.kits for number in kit):
            return True
        self.give_back(choice)
        return False

    def serve(self, work: int, slot: Slot) -> Choice | None:
        """Take the smallest kits that are free for a work, or nothing when there are not enough."""
        asked = self.problem.works[work].kits
        found: list[tuple[int, ...]] = []
        for number in self.problem.able[work]:
            while len(found) < asked and (kit := self.kit_of(number, slot)):
                self.move(kit, slot, -1)
                found.append(kit)
        choice = Choice(work, slot, tuple(found))
        if len(found) == asked:
            return choice
        self.give_back(choice)
        return None

    def kit_of(self, wrench: int, slot: Slot) -> tuple[int, ...] | None:
        """A free kit with a wrench of this class, or nothing."""
        if self.room(wrench, slot) < 1:
            return None
        support = [self.support(pool, slot) for pool in self.problem.supply[wrench]]
        found = [number for number in support if number is not None]
        return (wrench, *found) if len(found) == len(support) else None

    def support(self, pool: Iterable[int], slot: Slot) -> int | None:
        """The first class of a pool with a piece free all through a slot."""
        return next((number for number in pool if self.room(number, slot) > 0), None)

    def move(self, kit: tuple[int, ...], slot: Slot, step: int) -> None:
        """Take one piece of each of these classes out (-1) or put it back (+1)."""
        for number in kit:
            free = self.free[number]
            for point in range(slot.first, slot.last):
                free[point] += step


def seat(problem: Problem, choices: Iterable[Choice]) -> tuple[list[Choice], list[Choice]]:
    """Give every wrench a pump and gauge anew; answers the choices that found theirs, and the others.

    With one class in each pool, what does not find its own cannot be helped by another order.
    """
    stock = Stock(problem)
    seated, left = [], []
    for choice in sorted(choices, key=lambda one: (one.slot.start_us, one.work)):
        kits: list[tuple[int, ...]] = []
        for wrench in (kit[0] for kit in choice.kits):
            kit = stock.kit_of(wrench, choice.slot)
            if kit is None:
                break
            stock.take(Choice(choice.work, choice.slot, (kit,)))
            kits.append(kit)
        found = Choice(choice.work, choice.slot, tuple(kits))
        if len(kits) == len(choice.kits):
            seated.append(found)
        else:
            stock.give_back(found)
            left.append(choice)
    return seated, left
