"""The search in parts that share no wrench, as it is done where all works together would be too many."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hypothesis import assume, given

from fleet.planning.answers import Aim
from fleet.planning.classes import make_problem
from fleet.planning.greedy import first_come
from fleet.planning.slack import Split, parts_of
from fleet.planning.stock import Stock
from fleet.planning.watch import Watch
from tests.planning_check import best_by_trying
from tests.planning_shops import GRID, shops

if TYPE_CHECKING:
    from fleet.planning.facts import PlanFacts


@given(facts=shops())
def test_parts_bound_what_is_possible_and_never_overdraw_a_pool(facts: PlanFacts) -> None:
    problem = make_problem(facts, GRID)
    parts = parts_of(problem)
    assume(parts)
    split = Split(problem, parts, Watch(60, None, None), threads=2)
    choices = first_come(problem)
    best = best_by_trying(facts, GRID)
    for place, aim in enumerate(Aim):
        found, bound = split.improve(aim, list(Aim)[:place], choices, 20, finish=True)
        stock = Stock(problem)
        assert all(stock.takes(choice) for choice in found)
        assert problem.score(found) <= problem.score(choices)
        choices = found
        if aim is Aim.UNSERVED:
            assert bound <= best[0] <= problem.score(choices).unserved
    score = problem.score(choices)
    assert (score.unserved, score.kits, score.oversize_nm) >= best


@given(facts=shops())
def test_parts_share_no_wrench(facts: PlanFacts) -> None:
    problem = make_problem(facts, GRID)
    parts = parts_of(problem)
    wrenches = [{number for work in part for number in problem.able[work]} for part in parts]
    assert sum(map(len, wrenches)) == len(set().union(*wrenches))
    assert sorted(work for part in parts for work in part) == [
        w for w, able in enumerate(problem.able) if able
    ]
