"""The plan as a flow of pieces through time, for the solver.

A column for each work, slot and class of wrenches that can serve it. For each class a chain over the times
at which works begin: what was at work, plus what begins, minus what has ended, is at work now, and that is
never more than may be used. Such a matrix of intervals is nearly a network, so its relaxation is nearly
whole (consecutive ones; Fulkerson and Gross 1965). Pumps and gauges have chains of the same kind.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from fleet.planning.answers import Aim
from fleet.planning.classes import Choice
from fleet.planning.matrix import ENDLESS, Chain, Matrix
from fleet.planning.solver import solve, whole_bound

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from fleet.planning.classes import Problem, Slot
    from fleet.planning.watch import Watch


# A tenth of a work: measured, what is then kept leaves the rest a small search.
_NUDGE = 0.1


class Found(NamedTuple):
    """The choices found, with wrenches only where pools were left aside, and a bound on the aim."""

    choices: list[Choice]
    bound: int


class FlowModel:
    """The works given, against what is free of each class."""

    def __init__(
        self,
        problem: Problem,
        works: Sequence[int],
        free: Sequence[Sequence[int]],
        *,
        pools: bool = True,
    ) -> None:
        """Set the works up against what is free of each class; without ``pools``, pumps are left aside."""
        self.problem, self.works, self._free = problem, works, free
        self._matrix = Matrix()
        self._wrench_columns: dict[tuple[int, Slot], list[tuple[int, int]]] = {}
        self._pool_columns: dict[tuple[int, Slot], list[tuple[int, int]]] = defaultdict(list)
        self._unserved: list[int] = []
        self._both: list[tuple[int, list[int], int]] = []
        self._chains: dict[int, Chain] = {}
        self._others: list[Chain] = []
        for work in works:
            self._add_work(work)
        self._add_wrenches()
        if pools:
            self._add_pools()

    @property
    def entries(self) -> int:
        """How many columns of works, slots and classes there are: the size of the search."""
        return sum(map(len, self._wrench_columns.values()))

    def _add_work(self, work: int) -> None:
        asked = self.problem.works[work].kits
        served: list[int] = []
        for slot in self.problem.slots[work]:
            columns = []
            for number in self.problem.able[work]:
                room = min(asked, *self._free[number][slot.first : slot.last])
                if room > 0:
                    columns.append((number, self._matrix.column(room, whole=True)))
            if columns:
                self._wrench_columns[work, slot] = columns
                served += self._served(asked, [column for _, column in columns])
        unserved = self._matrix.column(1.0, whole=False)
        self._unserved.append(unserved)
        self._matrix.row(1.0, 1.0, [*served, unserved])

    def _served(self, asked: int, columns: list[int]) -> list[int]:
        """What counts as the work being served at a slot: one kit, or all of several."""
        if asked == 1:
            return columns
        both = self._matrix.column(1.0, whole=True)
        self._matrix.row(0.0, 0.0, columns, [both], by=asked)
        self._both.append((both, columns, asked))
        return [both]

    def _add_wrenches(self) -> None:
        moves: defaultdict[int, list[tuple[Slot, int]]] = defaultdict(list)
        for (_, slot), columns in self._wrench_columns.items():
            for number, column in columns:
                moves[number].append((slot, column))
        for number, own in sorted(moves.items()):
            self._chains[number] = self._matrix.chain(own, self._free[number])

    def _add_pools(self) -> None:
        for pool, users in self._users().items():
            if len(pool) == 1:
                room = self._free[pool[0]]
                wrenches = [self._free[number] for number in users]
                if any(sum(column) > room[point] for point, column in enumerate(zip(*wrenches, strict=True))):
                    self._others.append(self._matrix.chain(self._of_pool(users), room))
            else:
                self._split_pool(pool, users)

    def _split_pool(self, pool: tuple[int, ...], users: set[int]) -> None:
        """A pool of several classes: say which class each kit takes from."""
        moves: defaultdict[int, list[tuple[Slot, int]]] = defaultdict(list)
        for (work, slot), columns in self._wrench_columns.items():
            wrenches = [column for number, column in columns if number in users]
            if not wrenches:
                continue
            chosen = []
            for number in pool:
                room = min(self.problem.works[work].kits, *self._free[number][slot.first : slot.last])
                if room > 0:
                    chosen.append((number, self._matrix.column(room, whole=True)))
            self._matrix.row(0.0, 0.0, wrenches, [column for _, column in chosen])
            self._pool_columns[work, slot] += chosen
            for number, column in chosen:
                moves[number].append((slot, column))
        self._others += [self._matrix.chain(own, self._free[number]) for number, own in sorted(moves.items())]

    def _users(self) -> dict[tuple[int, ...], set[int]]:
        """Of each pool, the classes of wrenches that take from it."""
        users: defaultdict[tuple[int, ...], set[int]] = defaultdict(set)
        for number in self._chains:
            for pool in self.problem.supply[number]:
                users[pool].add(number)
        return users

    def _of_pool(self, users: set[int]) -> list[tuple[Slot, int]]:
        return [
            (slot, column)
            for (_, slot), columns in self._wrench_columns.items()
            for number, column in columns
            if number in users
        ]

    # --- Solving ------------------------------------------------------------------------------------------

    def minimise(
        self,
        aim: Aim,
        at_most: Mapping[Aim, int],
        start: Sequence[Choice],
        watch: Watch,
        seconds: float,
        tell: Callable[[int | None, int], None] = lambda _value, _bound: None,
    ) -> Found:
        """Minimise an aim, with other aims at most at given values.

        ``start`` is a plan that keeps to these values. Where nothing better is found, it is the answer.
        """
        matrix = self._matrix
        size = matrix.size()
        peaks = self._add_peaks() if Aim.KITS in {aim, *at_most} else {}
        costs = self._costs(peaks)
        for other, value in at_most.items():
            matrix.limit(costs[other], value)
        scale = math.gcd(*costs[aim].values()) or 1
        lp = matrix.lp({column: one // scale for column, one in costs[aim].items()})
        given = self._start(start, peaks)
        matrix.cut_back(size)

        def looked(value: float, bound: float) -> None:
            tell(round(value) * scale if math.isfinite(value) else None, whole_bound(bound, 0) * scale)

        nudge = _NUDGE if aim is Aim.UNSERVED else 0.0
        values, bound = solve(lp, given, watch, seconds, looked, nudge=nudge)
        found = self._choices(values) if values is not None else list(start)
        return Found(found, whole_bound(bound, 0) * scale)

    def _costs(self, peaks: Mapping[int, int]) -> dict[Aim, dict[int, int]]:
        classes = self.problem.classes
        oversize = {
            column: self.problem.oversize_nm(work, number)
            for (work, _), columns in self._wrench_columns.items()
            for number, column in columns
        }
        kits = {column: 1 for number, column in peaks.items() if not classes[number].trait.in_use}
        return {Aim.UNSERVED: dict.fromkeys(self._unserved, 1), Aim.KITS: kits, Aim.OVERSIZE: oversize}

    def _add_peaks(self) -> dict[int, int]:
        """Add how many of each class of wrenches are at work at once at most."""
        peaks = {}
        for number, chain in self._chains.items():
            peaks[number] = self._matrix.column(max(self._free[number]), whole=True)
            for now in chain.at_work:
                self._matrix.row(-ENDLESS, 0.0, [now], [peaks[number]])
        return peaks

    # --- To the solver's columns and back -----------------------------------------------------------------

    def _start(self, start: Iterable[Choice], peaks: Mapping[int, int]) -> Any:  # noqa: ANN401  as above
        values = np.zeros(len(self._matrix.upper))
        values[self._unserved] = 1.0
        place = dict(zip(self.works, self._unserved, strict=True))
        for choice in start:
            values[place[choice.work]] = 0.0
            used = Counter(number for kit in choice.kits for number in kit)
            key = choice.work, choice.slot
            for number, column in (*self._wrench_columns[key], *self._pool_columns.get(key, ())):
                values[column] = used[number]
        for both, columns, asked in self._both:
            values[both] = values[columns].sum() // asked
        for chain in (*self._chains.values(), *self._others):
            running = 0.0
            for now, begin, ended in zip(chain.at_work, chain.begin, chain.ended, strict=True):
                running += values[begin].sum() - values[ended].sum()
                values[now] = running
        for number, column in peaks.items():
            values[column] = values[self._chains[number].at_work].max()
        return values

    def _choices(self, values: Any) -> list[Choice]:  # noqa: ANN401  as above
        counts = np.rint(np.asarray(values)).astype(int)
        found = []
        for (work, slot), columns in self._wrench_columns.items():
            wrenches = [number for number, column in columns for _ in range(counts[column])]
            if wrenches:
                support = [
                    n for n, column in self._pool_columns.get((work, slot), ()) for _ in range(counts[column])
                ]
                found.append(Choice(work, slot, self._kits(wrenches, support)))
        return found

    def _kits(self, wrenches: list[int], support: list[int]) -> tuple[tuple[int, ...], ...]:
        kits = []
        for wrench in wrenches:
            kit = [wrench]
            for pool in self.problem.supply[wrench]:
                number = next((number for number in support if number in pool), pool[0])
                if number in support:
                    support.remove(number)
                kit.append(number)
            kits.append(tuple(kit))
        return tuple(kits)
