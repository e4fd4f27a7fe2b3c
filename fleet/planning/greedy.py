"""Two plans made by simple rules: the yardsticks, and where the search begins."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.planning.classes import Choice
from fleet.planning.stock import Stock

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleet.planning.classes import Problem, Slot


def first_come(problem: Problem) -> list[Choice]:
    """Serve works by their earliest start, each as early as can be and with the smallest kit that is free."""
    stock = Stock(problem)
    return _fill(stock, range(len(problem.works)))


def ejecting(problem: Problem) -> list[Choice]:
    """Serve works at their earliest start; where nothing is free, the one that would end last gives way.

    What gave way, or found nothing, is then tried at its later starts.
    """
    stock = Stock(problem)
    chosen: dict[int, Choice] = {}
    active: list[Choice] = []
    for work, slots in enumerate(problem.slots):
        slot = slots[0]
        active = [one for one in active if one.slot.end_us > slot.start_us]
        choice = stock.serve(work, slot)
        if choice is None:
            choice = _eject(stock, work, slot, active, chosen)
        if choice is not None:
            chosen[work] = choice
            active.append(choice)
    rest = [work for work in range(len(problem.works)) if work not in chosen]
    return [*chosen.values(), *_fill(stock, rest)]


def top_up(problem: Problem, choices: Iterable[Choice]) -> list[Choice]:
    """Serve from what is left over whatever these choices leave out."""
    chosen = list(choices)
    served = {choice.work for choice in chosen}
    rest = [work for work in range(len(problem.works)) if work not in served]
    return [*chosen, *_fill(Stock(problem, chosen), rest)]


def _fill(stock: Stock, works: Iterable[int]) -> list[Choice]:
    found = []
    for work in works:
        tries = (stock.serve(work, slot) for slot in stock.problem.slots[work])
        choice = next((choice for choice in tries if choice is not None), None)
        if choice is not None:
            found.append(choice)
    return found


def _eject(
    stock: Stock, work: int, slot: Slot, active: list[Choice], chosen: dict[int, Choice]
) -> Choice | None:
    """Take over the kit of the work that would end last, if that is later than this one would."""
    able = set(stock.problem.able[work])
    asked = stock.problem.works[work].kits
    longer = [
        one
        for one in active
        if one.slot.end_us > slot.end_us
        and len(one.kits) == asked
        and all(kit[0] in able for kit in one.kits)
    ]
    if not longer:
        return None
    last = max(longer, key=lambda one: (one.slot.end_us, one.work))
    stock.give_back(last)
    taken_over = Choice(work, slot, last.kits)
    if not stock.takes(taken_over):
        stock.take(last)
        return None
    active.remove(last)
    del chosen[last.work]
    return taken_over
