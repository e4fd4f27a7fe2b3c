"""One model given to the solver: bounded, searched, watched and stoppable."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from fleet.planning.loading import load

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.planning.watch import Watch

    Tell = Callable[[float, float], None]

# How near to a whole number the relaxation has to be, to count as one.
_WHOLE = 1e-6
# How much of the time the works that the relaxation left open may take by themselves.
_FIRST_SHARE = 0.5
# A whole bound may lie this far under itself by the solver's tolerance.
_ROUNDING = 1e-5


def solve(
    lp: Any,  # noqa: ANN401  the module is optional, so nothing here may name its types
    start: Any,  # noqa: ANN401  as above
    watch: Watch,
    seconds: float,
    tell: Tell,
    *,
    nudge: float,
) -> tuple[Any, float]:
    """Minimise; answers the values of the columns (None when none better are found) and a proven bound.

    Every cost is a whole number, so an optimum is proven once the bound is above the next lower one. The
    relaxation comes first, by an inner-point method: its matrix is nearly a network, on which a simplex
    takes tens of thousands of idle steps. It is nearly whole, so what it serves is kept and the few
    works left are settled by themselves; mostly that reaches the bound already. If not, all is searched.
    Where costs are alike, ``nudge`` tells them apart at random up to this much, for the choice of what is
    kept alone: without it half the works are served in fractions. The same model gives the same answer:
    one thread, and fixed seeds.
    """
    highspy = load()
    ends_at = watch.seconds_left() - seconds
    kinds, lower, cost = lp.integrality_, np.array(lp.col_lower_), np.array(lp.col_cost_)
    whole = np.array([kind == highspy.HighsVarType.kInteger for kind in kinds])
    lp.integrality_ = []
    relaxed, _ = _run(highspy, lp, None, watch, seconds, tell)
    if relaxed is None:
        return None, -math.inf
    bound = float(relaxed @ cost)
    tell(math.inf, bound)
    if nudge:
        lp.col_cost_ = cost + nudge * whole * np.random.default_rng(0).random(len(cost))
        nudged, _ = _run(highspy, lp, None, watch, watch.seconds_left() - ends_at, _quiet)
        lp.col_cost_, relaxed = cost, relaxed if nudged is None else nudged
    nearly = np.rint(relaxed)
    settled = whole & (nearly >= 1) & (np.abs(relaxed - nearly) < _WHOLE)
    lp.integrality_, lp.col_lower_ = kinds, np.where(settled, nearly, lower)
    best, _ = _run(highspy, lp, None, watch, _FIRST_SHARE * (watch.seconds_left() - ends_at), _quiet)
    if best is None or best @ cost > start @ cost:
        best = start
    if best @ cost < math.ceil(bound - _ROUNDING) + 0.5 or watch.over():
        return best, bound
    lp.col_lower_ = lower
    for given in (best, None):
        # The solver has been seen to end with the plan it was given and the bound of a better one, which it
        # then finds without the first.
        found, proven = _run(highspy, lp, given, watch, watch.seconds_left() - ends_at, tell)
        best = found if found is not None and found @ cost < best @ cost else best
        bound = max(bound, proven)
        if best @ cost < math.ceil(bound - _ROUNDING) + 0.5 or watch.over():
            break
    return best, bound


def _run(highspy: Any, lp: Any, start: Any, watch: Watch, seconds: float, tell: Tell) -> tuple[Any, float]:  # noqa: ANN401  as above
    """One run of the solver: the values found, if any, and the bound of the search in a tree."""
    highs = highspy.Highs()
    options = {
        "output_flag": False,
        "threads": 1,
        "random_seed": 0,
        "solver": "ipx" if len(lp.integrality_) == 0 else "choose",
        "mip_lp_solver": "ipx",
        "mip_rel_gap": 0.0,
        "mip_abs_gap": 1 - 2 * _ROUNDING,
        "time_limit": max(0.0, seconds),
    }
    for name, value in options.items():
        highs.setOptionValue(name, value)
    highs.passModel(lp)
    if start is not None:
        given = highspy.HighsSolution()
        given.col_value = start
        highs.setSolution(given)

    def look(event: Any) -> None:  # noqa: ANN401  as above
        if watch.over():
            event.interrupt()
        elif event.callback_type == highspy.cb.HighsCallbackType.kCallbackMipInterrupt:
            tell(event.data_out.mip_primal_bound, event.data_out.mip_dual_bound)

    for happening in (highs.cbMipInterrupt, highs.cbSimplexInterrupt, highs.cbIpmInterrupt):
        happening.subscribe(look)
    highs.run()
    if len(lp.integrality_) == 0:
        # A relaxation that was cut off bounds nothing.
        done = highs.getModelStatus() == highspy.HighsModelStatus.kOptimal
        return (np.array(highs.getSolution().col_value) if done else None), -math.inf
    info = highs.getInfo()
    feasible = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    return (np.array(highs.getSolution().col_value) if feasible else None), info.mip_dual_bound


def _quiet(_value: float, _bound: float) -> None:
    """What a part of the search reaches is no news of the whole."""


def whole_bound(bound: float, at_least: int) -> int:
    """Answer the least whole number that a proven bound allows; before any bound it is minus infinity."""
    return max(at_least, math.ceil(bound - _ROUNDING)) if math.isfinite(bound) else at_least
