"""Why a work is unserved, and what to hire so that none is."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, NamedTuple

from fleet.bolting.figures import exceeds
from fleet.bolting.parts import Kind
from fleet.measures.times import local_day
from fleet.planning.answers import Hire, Shortage, Unserved
from fleet.planning.checking import usable_until
from fleet.planning.classes import does_for, from_us, to_us
from fleet.planning.stock import Stock

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from fleet.planning.classes import Choice, Problem, Slot
    from fleet.planning.facts import PlanFacts, Work, Wrench

_Pool = tuple[Kind, str | None]


class _Fit(NamedTuple):
    """What a slot finds for a work: the pieces taken, and what is missing of a full set of kits."""

    taken: list[int]
    wrenches_short: int
    lacks: list[_Pool]

    def short(self, kind: Kind) -> int:
        return sum(lacking == kind for lacking, _ in self.lacks)

    @property
    def cost(self) -> int:
        """How many pieces would have to be hired: a wrench alone, or a pump or gauge."""
        return self.wrenches_short + len(self.lacks)


@dataclass(slots=True)
class _Hired:
    """One piece on hire and when it is used."""

    kind: Kind
    drive: str | None
    at_least_nm: float | None
    pump_pool: str | None
    gauge_pool: str | None
    spans: list[Slot] = field(default_factory=list)

    def free(self, slot: Slot) -> bool:
        return all(slot.end_us <= used.start_us or used.end_us <= slot.start_us for used in self.spans)


def shortages(
    facts: PlanFacts, problem: Problem, choices: Iterable[Choice]
) -> tuple[tuple[Unserved, ...], tuple[Hire, ...]]:
    """Answer each unserved work with its reason, and a list of hires with which every one can be served.

    The strongest wrenches are put on the list first, and a piece on it serves all it can.
    """
    chosen = tuple(choices)
    served = {choice.work for choice in chosen}
    left = [work for work in range(len(problem.works)) if work not in served]
    stock = Stock(problem, chosen)
    unserved = tuple(_explain(facts, problem, stock, work) for work in left)
    desk = _HireDesk(facts, problem, stock)
    for work in sorted(left, key=lambda one: (-problem.works[one].needed_nm, one)):
        desk.serve(work)
    return unserved, desk.lines()


def _explain(facts: PlanFacts, problem: Problem, stock: Stock, work: int) -> Unserved:
    """The first condition that fails at the slot that fails least."""
    asked, slots = problem.works[work], problem.slots[work]
    fit, slot = _best(stock, work)
    stock.move(tuple(fit.taken), slot, 1)
    wrenches = [wrench for wrench in facts.wrenches if wrench.drive in asked.drives]
    strong = [wrench for wrench in wrenches if does_for(asked, wrench.drive, wrench.gives_nm)]
    in_date = [[wrench for wrench in strong if _in_date(wrench, slot, facts)] for slot in slots]
    free = [[one for one in ones if _free(one, slot)] for ones, slot in zip(in_date, slots, strict=True)]
    if not wrenches:
        why = Shortage.NO_DRIVE
    elif not strong:
        why = Shortage.TOO_WEAK
    elif len(strong) < asked.kits:
        why = Shortage.TOO_FEW
    elif max(map(len, in_date)) < asked.kits:
        why = Shortage.WRENCHES_DUE
    elif max(map(len, free)) < asked.kits:
        why = Shortage.WRENCHES_RESERVED
    elif fit.wrenches_short:
        why = Shortage.WRENCHES_TAKEN
    else:
        why = Shortage.PUMPS_SHORT if fit.short(Kind.PUMP) else Shortage.GAUGES_SHORT
    short = fit.wrenches_short, fit.short(Kind.PUMP), fit.short(Kind.GAUGE)
    return Unserved(asked.key, why, *short)


def _in_date(wrench: Wrench, slot: Slot, facts: PlanFacts) -> bool:
    return wrench.due_on is None or slot.end_us <= to_us(usable_until(wrench.due_on, facts.zone))


def _free(wrench: Wrench, slot: Slot) -> bool:
    return all(slot.end_us <= to_us(b.starts_at) or to_us(b.ends_at) <= slot.start_us for b in wrench.busy)


def _best(stock: Stock, work: int) -> tuple[_Fit, Slot]:
    """Take what there is at the slot at which the least is missing, the earliest of several."""
    slots = stock.problem.slots[work]
    costs = []
    for slot in slots:
        fit = _fit(stock, work, slot)
        stock.move(tuple(fit.taken), slot, 1)
        costs.append(fit.cost)
    slot = slots[costs.index(min(costs))]
    return _fit(stock, work, slot), slot


def _fit(stock: Stock, work: int, slot: Slot) -> _Fit:
    """Take full kits, then wrenches that want a pump or gauge; the rest want a wrench."""
    problem, asked = stock.problem, stock.problem.works[work].kits
    strong = list(_strong(problem, problem.works[work]))
    taken: list[int] = []
    kits = 0
    for number in strong:
        while kits < asked and (kit := stock.kit_of(number, slot)):
            stock.move(kit, slot, -1)
            taken += kit
            kits += 1
    lacks: list[_Pool] = []
    for number in strong:
        while kits < asked and stock.room(number, slot) > 0:
            found = [(number), *_supported(stock, number, slot, lacks)]
            stock.move(tuple(found), slot, -1)
            taken += found
            kits += 1
    return _Fit(taken, asked - kits, lacks)


def _supported(stock: Stock, wrench: int, slot: Slot, lacks: list[_Pool]) -> Iterator[int]:
    pools = stock.problem.classes[wrench].trait.pools
    for pool, numbers in zip(pools, stock.problem.supply[wrench], strict=True):
        number = stock.support(numbers, slot)
        if number is None:
            lacks.append(pool)
        else:
            yield number


def _strong(problem: Problem, work: Work) -> Iterator[int]:
    for number, one in enumerate(problem.classes):
        if one.trait.kind is Kind.WRENCH and does_for(work, one.trait.drive, one.trait.gives_nm):
            yield number


class _HireDesk:
    """Pieces on hire, and what is left of the room's own."""

    def __init__(self, facts: PlanFacts, problem: Problem, stock: Stock) -> None:
        self._facts, self._problem, self._stock = facts, problem, stock
        self._hired: list[_Hired] = []
        self._numbers = {
            pool: numbers
            for one, supply in zip(problem.classes, problem.supply, strict=True)
            for pool, numbers in zip(one.trait.pools, supply, strict=False)
        }
        for number, one in enumerate(problem.classes):
            if one.trait.kind is not Kind.WRENCH:
                pool = one.trait.pools[0]
                self._numbers.setdefault(pool, ())
                if number not in self._numbers[pool]:
                    self._numbers[pool] = (*self._numbers[pool], number)

    def serve(self, work: int) -> None:
        """Take what the room has, and hire the rest."""
        asked = self._problem.works[work]
        fit, slot = _best(self._stock, work)
        for pool in fit.lacks:
            self._piece(pool, slot)
        for _ in range(fit.wrenches_short):
            wrench = self._wrench(asked, slot)
            pools: list[_Pool] = [(Kind.PUMP, wrench.pump_pool)]
            if wrench.gauge_pool is not None:
                pools.append((Kind.GAUGE, wrench.gauge_pool))
            for kind, name in pools:
                number = self._in_stock(kind, name, slot)
                if number is None:
                    self._piece((kind, name), slot)
                else:
                    self._stock.move((number,), slot, -1)

    def lines(self) -> tuple[Hire, ...]:
        """Answer what is on hire, pieces alike on one line."""
        zone = self._facts.zone
        lines: Counter[tuple[object, ...]] = Counter()
        found: dict[tuple[object, ...], Hire] = {}
        for one in self._hired:
            first = local_day(from_us(min(slot.start_us for slot in one.spans)), zone)
            end = from_us(max(slot.end_us for slot in one.spans)) - timedelta(microseconds=1)
            what = one.kind, one.drive, one.at_least_nm, one.pump_pool, one.gauge_pool
            key = *what, first, local_day(end, zone)
            lines[key] += 1
            found[key] = Hire(*what, lines[key], first, local_day(end, zone))
        return tuple(found.values())

    def _wrench(self, work: Work, slot: Slot) -> _Hired:
        for one in self._hired:
            strong = one.at_least_nm is not None and not exceeds(work.needed_nm, one.at_least_nm)
            if one.kind is Kind.WRENCH and one.drive in work.drives and strong and one.free(slot):
                one.spans.append(slot)
                return one
        drive, pump_pool, gauge_pool = self._like(work, slot)
        hired = _Hired(Kind.WRENCH, drive, work.needed_nm, pump_pool, gauge_pool, [slot])
        self._hired.append(hired)
        return hired

    def _like(self, work: Work, slot: Slot) -> tuple[str, str | None, str | None]:
        """A drive and pools to ask for: those of the room's own wrenches, best with pump and gauge free."""
        drives = work.drives or ("",)
        wrenches = self._facts.wrenches
        own = {(one.drive, one.pump_pool, one.gauge_pool) for one in wrenches if one.drive in work.drives}
        others = {(drives[0], one.pump_pool, one.gauge_pool) for one in wrenches}
        none: set[tuple[str, str | None, str | None]] = {(drives[0], None, None)}
        likely = own or others or none

        def missing(like: tuple[str, str | None, str | None]) -> int:
            _, pump, gauge = like
            short = self._in_stock(Kind.PUMP, pump, slot) is None
            return short + (gauge is not None and self._in_stock(Kind.GAUGE, gauge, slot) is None)

        return min(sorted(likely, key=str), key=missing)

    def _in_stock(self, kind: Kind, name: str | None, slot: Slot) -> int | None:
        numbers = self._numbers.get((kind, name), ()) if name is not None else ()
        return self._stock.support(numbers, slot)

    def _piece(self, pool: _Pool, slot: Slot) -> None:
        kind, name = pool
        for one in self._hired:
            own = one.pump_pool if one.kind is Kind.PUMP else one.gauge_pool
            if one.kind is kind and own == name and one.free(slot):
                one.spans.append(slot)
                return
        pump, gauge = (name, None) if kind is Kind.PUMP else (None, name)
        self._hired.append(_Hired(kind, None, None, pump, gauge, [slot]))
