"""Make the plan of a shutdown: fewest works unserved, then fewest kits, then least oversize."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.planning.answers import Aim, Plan, Stage
from fleet.planning.checking import check_facts, check_limits
from fleet.planning.classes import make_problem
from fleet.planning.facts import Limits
from fleet.planning.greedy import ejecting, first_come
from fleet.planning.loading import load
from fleet.planning.serials import make_parts
from fleet.planning.shortage import shortages
from fleet.planning.stock import Stock
from fleet.planning.watch import Watch

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fleet.planning.answers import Progress
    from fleet.planning.classes import Choice, Problem
    from fleet.planning.facts import PlanFacts
    from fleet.planning.flow import FlowModel

# How much of the time that is left each aim may take.
_SHARES = {Aim.UNSERVED: 0.6, Aim.KITS: 0.7, Aim.OVERSIZE: 1.0}
# A search with slack that has more columns than this is not taken up as a whole.
_WHOLE_MOST = 60_000
# How much of an aim's time the parts may take by themselves when the whole is taken up after them.
_APART = 0.5
_DEFAULT = Limits()


def make_plan(
    facts: PlanFacts,
    *,
    limits: Limits = _DEFAULT,
    progress: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
) -> Plan:
    """Answer the best plan found within the limits, or when ``stop`` first said yes.

    ``progress`` is told of every step forward, and ``stop`` is asked all the while, both perhaps from
    another thread. Raises NotPossible where the facts contradict themselves or the solver is missing.
    """
    check_limits(limits)
    check_facts(facts)
    load()
    watch = Watch(limits.seconds, progress, stop)
    problem = make_problem(facts, limits.start_grid)
    yardsticks = first_come(problem), ejecting(problem)
    search = _Search(problem, min(yardsticks, key=problem.score), watch, limits.threads)
    search.run()
    watch.raise_failure()
    choices = search.choices
    parts = sorted((*facts.kept, *make_parts(problem, choices)), key=lambda part: (part.starts_at, part.work))
    unserved, hires = shortages(facts, problem, choices)
    score = problem.score(choices)
    stages = tuple(Stage(aim, score.of(aim), min(score.of(aim), search.bounds[aim])) for aim in Aim)
    return Plan(
        parts=tuple(parts),
        unserved=unserved,
        score=score,
        stages=stages,
        first_come=problem.score(yardsticks[0]),
        ejecting=problem.score(yardsticks[1]),
        hires=hires,
        start_grid=limits.start_grid,
        stopped=watch.stopped and not all(stage.proven for stage in stages),
    )


class _Search:
    """The best choices so far and how far they may be from the best."""

    def __init__(self, problem: Problem, choices: list[Choice], watch: Watch, threads: int) -> None:
        self.problem, self.choices, self._watch, self._threads = problem, choices, watch, threads
        self.bounds = {aim: problem.base.of(aim) for aim in Aim}
        self._model: FlowModel | None = None

    def run(self) -> None:
        """Work on one aim after the other, each with the values of those before."""
        from fleet.planning.slack import Split, parts_of  # noqa: PLC0415  numpy comes with the solver only

        watch = self._watch
        parts = [] if self.problem.fixed else parts_of(self.problem)
        split = Split(self.problem, parts, watch, self._threads) if len(parts) > 1 else None
        at_best = split is not None
        small = self.problem.fixed or (split is not None and split.entries <= _WHOLE_MOST)
        for place, aim in enumerate(Aim):
            seconds = _SHARES[aim] * watch.seconds_left()
            ends_at = watch.seconds_left() - seconds
            done = list(Aim)[:place]
            watch.tell(aim, self._figure(aim), self.bounds[aim])
            if split and (at_best or not small) and not watch.over():
                share = _APART * seconds if small else seconds
                found, bound = split.improve(aim, done, self.choices, share, finish=not small)
                # The parts bound what follows only while each of them is at its best.
                self._take(aim, found, bound if at_best else self.bounds[aim])
                at_best = at_best and self._figure(aim) == bound
            if self._figure(aim) > self.bounds[aim] and (small or not split) and not watch.over():
                self._as_a_whole(aim, done, watch.seconds_left() - ends_at)

    def _figure(self, aim: Aim) -> int:
        return self.problem.score(self.choices).of(aim)

    def _as_a_whole(self, aim: Aim, done: Sequence[Aim], seconds: float) -> None:
        from fleet.planning.flow import FlowModel  # noqa: PLC0415  numpy comes with the solver only

        problem, base = self.problem, self.problem.base
        if self._model is None:
            works = [work for work, able in enumerate(problem.able) if able]
            self._model = FlowModel(problem, works, [one.free for one in problem.classes])

        def tell(value: int | None, bound: int) -> None:
            reached = self._figure(aim) if value is None else base.of(aim) + value
            self._watch.tell(aim, reached, base.of(aim) + bound)

        at_most = {other: self._figure(other) - base.of(other) for other in done}
        found = self._model.minimise(aim, at_most, self.choices, self._watch, seconds, tell)
        self._take(aim, found.choices, base.of(aim) + found.bound)

    def _take(self, aim: Aim, found: list[Choice], bound: int) -> None:
        """Keep what is better and really fits; a bound found is a bound, whatever was found with it."""
        stock = Stock(self.problem)
        if self.problem.score(found) < self.problem.score(self.choices) and all(map(stock.takes, found)):
            self.choices = found
        self.bounds[aim] = max(self.bounds[aim], bound)
        self._watch.tell(aim, self._figure(aim), self.bounds[aim])
