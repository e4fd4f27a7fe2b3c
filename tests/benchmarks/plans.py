"""Plans of large shutdowns: what is proven, how soon, and against the relaxation of the first aim."""

from __future__ import annotations

import random
import time
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from fleet.bolting.parts import Kind
from fleet.planning.answers import Aim
from fleet.planning.classes import make_problem
from fleet.planning.facts import Limits, PlanFacts, PoolPiece, Work, Wrench
from fleet.planning.flow import FlowModel
from fleet.planning.loading import load
from fleet.planning.plan import make_plan

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.planning.answers import Plan, Progress

DRIVES = ("3/4 in", "1 in", "1 1/2 in", "2 1/2 in")
MODELS = [(drive, 1000.0 * (place + 1) * size) for place, drive in enumerate(DRIVES) for size in (1, 2, 4)]
BEGIN = datetime(2027, 3, 1, tzinfo=UTC)
DAYS, STEP_H = 10, 4
DUE_SHARE = 0.12
LIMITS = Limits(seconds=600.0)


def run(_folder: Path) -> None:
    """Print fixed windows at two sizes, and windows with a day of slack at three loads."""
    facts = shutdown(2_000, 500, load=0.85)
    relaxed = _relaxation(facts)
    plan, spent = _plan(facts)
    proven = "proven" if plan.proven else "NOT proven"
    ratio = f"{spent:.1f} s, the relaxation {relaxed:.2f} s: {spent / relaxed:.0f} (goal 40)"
    print(f"plan, fixed, 2,000 works and 500 wrenches, three aims {proven}: {ratio}")
    _say(plan)
    plan, spent = _plan(shutdown(5_000, 1_000, load=0.85), only=Aim.UNSERVED)
    print(f"plan, fixed, 5,000 works and 1,000 wrenches, works unserved: {spent:.1f} s")
    _say(plan)
    for share in (0.6, 0.75, 0.85):
        plan, spent = _plan(shutdown(2_000, 500, load=share, slack_h=24), only=Aim.UNSERVED)
        print(f"plan, a day of slack, load {share}, 2,000 and 500, works unserved: {spent:.1f} s (goal 20)")
        _say(plan)


def _say(plan: Plan) -> None:
    for stage in plan.stages:
        state = "proven" if stage.proven else f"at best {stage.bound:,}"
        print(f"    {stage.aim}: {stage.value:,}, {state}")
    print(
        f"    works unserved by first come {plan.first_come.unserved}, by ejecting {plan.ejecting.unserved}"
    )


def _plan(facts: PlanFacts, *, only: Aim | None = None) -> tuple[Plan, float]:
    """The plan and the seconds of one processor it took, until the aim after the only one begins.

    Seconds of a processor and not of the clock, because others may be at work on the machine.
    """
    after = {aim: None if only is None else list(Aim).index(aim) > list(Aim).index(only) for aim in Aim}
    over: list[float] = []

    def heard(step: Progress) -> None:
        if after[step.aim] and not over:
            over.append(time.process_time())

    begun = time.process_time()
    plan = make_plan(facts, limits=LIMITS, progress=heard, stop=lambda: bool(over))
    return plan, (over[0] if over else time.process_time()) - begun


class _Flow(FlowModel):
    def relaxation(self) -> Any:  # noqa: ANN401  the solver's own, and it names no types
        """The model of the first aim, in which works may be served in fractions."""
        lp = self._matrix.lp(dict.fromkeys(self._unserved, 1))
        lp.integrality_ = []
        return lp


def _relaxation(facts: PlanFacts) -> float:
    """Seconds of a processor for the relaxation of the first aim, alone."""
    highspy = load()
    problem = make_problem(facts, LIMITS.start_grid)
    works = [work for work, able in enumerate(problem.able) if able]
    lp = _Flow(problem, works, [one.free for one in problem.classes]).relaxation()
    highs = highspy.Highs()
    for name, value in {"output_flag": False, "threads": 1, "solver": "ipx"}.items():
        highs.setOptionValue(name, value)
    highs.passModel(lp)
    begun = time.process_time()
    highs.run()
    if not np.isfinite(highs.getInfo().objective_function_value):
        raise RuntimeError("the relaxation was not solved")
    return time.process_time() - begun


def shutdown(many: int, wrenches: int, *, load: float, slack_h: int = 0) -> PlanFacts:
    """Twelve models on four drives, some due inside the plan, two pools of pumps a little short of them."""
    luck = random.Random(1)  # noqa: S311  invented works, the same in every run
    own = tuple(
        Wrench(f"W-{n:04}", *MODELS[n % 12], "AB"[n // 12 % 2], None, _due(luck)) for n in range(wrenches)
    )
    pumps = tuple(
        PoolPiece(f"P-{n:04}", Kind.PUMP, "AB"[n % 2], _due(luck)) for n in range(wrenches * 94 // 100)
    )
    mean_h = 24 * DAYS * wrenches / many * load
    works = tuple(_work(luck, number, mean_h, slack_h) for number in range(many))
    return PlanFacts(ZoneInfo("UTC"), works, own, pumps)


def _due(luck: random.Random) -> date | None:
    day = BEGIN.date() + timedelta(days=luck.randint(1, DAYS - 1))
    return day if luck.random() < DUE_SHARE else None


def _work(luck: random.Random, number: int, mean_h: float, slack_h: int) -> Work:
    drive, gives_nm = luck.choice(MODELS)
    lasts_h = max(STEP_H, int(luck.uniform(0.3, 1.7) * mean_h) // STEP_H * STEP_H)
    begin_h = luck.randint(0, max(0, 24 * DAYS - lasts_h)) // STEP_H * STEP_H
    end_h = begin_h + lasts_h + (luck.randint(0, slack_h) if slack_h else 0)
    return Work(
        key=f"J-{number:05}",
        drives=(drive,),
        needed_nm=gives_nm * luck.uniform(0.3, 0.95) // 10 * 10,
        earliest_start_at=BEGIN + timedelta(hours=begin_h),
        latest_end_at=BEGIN + timedelta(hours=end_h),
        duration=timedelta(hours=lasts_h),
    )
