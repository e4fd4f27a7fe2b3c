"""Works with slack: each part of the fleet that shares no wrench by itself, then pumps and gauges for all.

Works of different drives meet only at the pumps and gauges. So each drive is solved with those left aside,
which is quick and bounds what is possible. Where there turn out to be pumps and gauges enough, that is the
best there is. Where not, the whole is searched from there, or, if it is too large, part after part with the
pumps and gauges that the others leave.
"""

from __future__ import annotations

from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

from fleet.planning.answers import Aim
from fleet.planning.flow import FlowModel, Found
from fleet.planning.greedy import top_up
from fleet.planning.stock import Stock, seat

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fleet.planning.classes import Choice, Problem
    from fleet.planning.watch import Watch

# How much of an aim's time the parts take by themselves; the rest is for bringing them together.
_APART = 0.7


def parts_of(problem: Problem) -> list[list[int]]:
    """Works that can share a wrench, directly or through others; works that none can serve are left out."""
    leader: dict[int, int] = {}

    def find(number: int) -> int:
        while leader.setdefault(number, number) != number:
            number = leader[number]
        return number

    for able in problem.able:
        for number in able[1:]:
            leader[find(number)] = find(able[0])
    found: defaultdict[int, list[int]] = defaultdict(list)
    for work, able in enumerate(problem.able):
        if able:
            found[find(able[0])].append(work)
    return list(found.values())


class Split:
    """The search in parts."""

    def __init__(self, problem: Problem, parts: Sequence[Sequence[int]], watch: Watch, threads: int) -> None:
        self._problem, self._parts, self._watch, self._threads = problem, parts, watch, threads
        free = [one.free for one in problem.classes]
        self._models = [FlowModel(problem, works, free, pools=False) for works in parts]

    @property
    def entries(self) -> int:
        """The size of the search."""
        return sum(model.entries for model in self._models)

    def improve(
        self, aim: Aim, at_most: Sequence[Aim], choices: list[Choice], seconds: float, *, finish: bool
    ) -> tuple[list[Choice], int]:
        """Answer better choices, if any are found, and a bound on the aim.

        The bound holds if the values of the aims in ``at_most`` are the least there are in each part. With
        ``finish``, what the pools stand in the way of is worked on part by part; it is for searches that
        are too large to be taken up as a whole.
        """
        ends_at = self._watch.seconds_left() - seconds
        apart = self._each_apart(aim, at_most, choices, _APART * seconds if finish else seconds)
        bound = self._problem.base.of(aim) + sum(found.bound for found in apart)
        best = self._better(choices, [found.choices for found in apart])
        if finish and self._problem.score(best).of(aim) > bound:
            best = self._one_by_one(aim, at_most, best, self._watch.seconds_left() - ends_at)
        return best, bound

    def _each_apart(
        self, aim: Aim, at_most: Sequence[Aim], choices: Sequence[Choice], seconds: float
    ) -> list[Found]:
        """Solve each part as if there were pumps and gauges enough."""
        share = seconds * min(1.0, self._threads / len(self._parts))
        bounds = [0] * len(self._parts)
        value = self._problem.score(choices).of(aim)

        def solve(place: int) -> Found:
            own = self._own(place, choices)

            def tell(_value: int | None, bound: int) -> None:
                bounds[place] = max(bound, bounds[place])

            self._watch.tell(aim, value, self._problem.base.of(aim) + sum(bounds))

            limits = self._values(place, at_most, own)
            return self._models[place].minimise(aim, limits, own, self._watch, share, tell)

        with ThreadPoolExecutor(self._threads) as pool:
            return list(pool.map(solve, range(len(self._parts))))

    def _own(self, place: int, choices: Iterable[Choice]) -> list[Choice]:
        works = set(self._parts[place])
        return [choice for choice in choices if choice.work in works]

    def _values(self, place: int, aims: Sequence[Aim], own: Sequence[Choice]) -> dict[Aim, int]:
        """What a part comes to by itself in each aim."""
        score, base = self._problem.score(own), self._problem.base
        unserved = len(self._parts[place]) - len(own)
        return {aim: unserved if aim is Aim.UNSERVED else score.of(aim) - base.of(aim) for aim in aims}

    def _better(self, choices: list[Choice], together: Sequence[Sequence[Choice]]) -> list[Choice]:
        """What of the parts finds pumps and gauges, filled up, if that is better."""
        seated, left = seat(self._problem, _all(together))
        found = top_up(self._problem, seated) if left else seated
        return min(choices, found, key=self._problem.score)

    def _one_by_one(
        self, aim: Aim, at_most: Sequence[Aim], choices: list[Choice], seconds: float
    ) -> list[Choice]:
        """Improve part after part with the pumps and gauges that the others leave."""
        ends_at = self._watch.seconds_left() - seconds
        for place, works in enumerate(self._parts):
            left = self._watch.seconds_left() - ends_at
            if left <= 0 or self._watch.over():
                break
            own = self._own(place, choices)
            mine = set(works)
            others = [choice for choice in choices if choice.work not in mine]
            model = FlowModel(self._problem, works, Stock(self._problem, others).free)
            share = left / (len(self._parts) - place)
            found = model.minimise(aim, self._values(place, at_most, own), own, self._watch, share)
            choices = min(choices, [*others, *found.choices], key=self._problem.score)
            self._watch.tell(aim, self._problem.score(choices).of(aim), self._problem.base.of(aim))
        return choices


def _all(together: Iterable[Iterable[Choice]]) -> list[Choice]:
    return [choice for choices in together for choice in choices]
