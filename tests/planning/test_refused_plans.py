"""Facts that contradict themselves are refused in a sentence, and what is missing is named."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from fleet.bolting.parts import Kind
from fleet.planning.answers import Hire, Shortage, Unserved
from fleet.planning.facts import Busy, Kit, Limits, Part, PlanFacts, PoolPiece, Work, Wrench
from fleet.planning.plan import make_plan
from fleet.refusals import NotPossible

MONDAY = datetime(2026, 5, 4, tzinfo=UTC)
HOUR = timedelta(hours=1)
WORK = Work("J-1", ("1 in",), 900.0, MONDAY, MONDAY + 8 * HOUR, 8 * HOUR)
WRENCH = Wrench("W-1", "1 in", 1000.0, "A", "G")
PUMP = PoolPiece("P-1", Kind.PUMP, "A")
GAUGE = PoolPiece("G-1", Kind.GAUGE, "G")
SHOP = PlanFacts(ZoneInfo("UTC"), (WORK,), (WRENCH,), (PUMP, GAUGE))
PART = Part("J-1", MONDAY, MONDAY + 8 * HOUR, (Kit("W-1", "P-1", "G-1"),))
NAIVE = datetime(2026, 5, 4)  # noqa: DTZ001  the point of it
BAD = (
    (replace(SHOP, works=(WORK, WORK)), "J-1 is listed more than once"),
    (replace(SHOP, wrenches=(WRENCH, WRENCH)), "W-1 is listed more than once"),
    (replace(SHOP, pool_pieces=(replace(PUMP, tag="W-1"),)), "W-1 is listed more than once"),
    (replace(SHOP, works=(replace(WORK, latest_end_at=MONDAY - HOUR),)), "J-1 ends before it starts"),
    (replace(SHOP, works=(replace(WORK, latest_end_at=MONDAY),)), "J-1 ends before it starts"),
    (replace(SHOP, works=(replace(WORK, duration=9 * HOUR),)), "J-1 takes longer than its window"),
    (replace(SHOP, works=(replace(WORK, duration=0 * HOUR),)), "J-1 takes no time at all"),
    (replace(SHOP, works=(replace(WORK, earliest_start_at=NAIVE),)), "J-1 say no time zone"),
    (replace(SHOP, works=(replace(WORK, needed_nm=float("nan")),)), "not a torque above zero"),
    (replace(SHOP, works=(replace(WORK, kits=0),)), "asks for 0 kits"),
    (replace(SHOP, wrenches=(replace(WRENCH, busy=(Busy(MONDAY, MONDAY),)),)), "W-1 ends before it starts"),
    (replace(SHOP, wrenches=(replace(WRENCH, busy=(Busy(NAIVE, MONDAY),)),)), "W-1 says no time zone"),
)
LOST = (
    ({"works": ()}, "not among the works"),
    (
        {"works": (replace(WORK, earliest_start_at=MONDAY + HOUR, latest_end_at=MONDAY + 9 * HOUR),)},
        "outside the window",
    ),
    ({"works": (replace(WORK, duration=7 * HOUR),)}, "takes another time"),
    ({"works": (replace(WORK, kits=2),)}, "needs 2 kits"),
    ({"works": (replace(WORK, needed_nm=1001.0),)}, "W-1 no longer does for it"),
    ({"works": (replace(WORK, drives=("2 in",)),)}, "W-1 no longer does for it"),
    ({"wrenches": ()}, "W-1 is not among the wrenches"),
    ({"pool_pieces": (GAUGE,)}, "its pump does not go with W-1"),
    ({"pool_pieces": (replace(PUMP, pool="B"), GAUGE)}, "its pump does not go with W-1"),
    ({"wrenches": (replace(WRENCH, gauge_pool=None),)}, "its gauge does not go with W-1"),
    ({"wrenches": (replace(WRENCH, due_on=date(2026, 5, 3)),)}, "W-1 falls due before it ends"),
    (
        {"wrenches": (replace(WRENCH, busy=(Busy(MONDAY, MONDAY + HOUR),)),)},
        "W-1 is reserved for something else",
    ),
)


@pytest.mark.parametrize(("facts", "why"), BAD)
def test_facts_that_contradict_themselves_are_refused(facts: PlanFacts, why: str) -> None:
    with pytest.raises(NotPossible, match=why):
        make_plan(facts)


@pytest.mark.parametrize(("change", "why"), LOST)
def test_a_kept_part_that_no_longer_holds_is_named(change: dict[str, object], why: str) -> None:
    make_plan(replace(SHOP, kept=(PART,)))
    with pytest.raises(NotPossible, match=f"J-1 cannot be kept: .*{why}"):
        make_plan(replace(SHOP, kept=(PART,), **change))  # type: ignore[arg-type]


def test_two_kept_parts_cannot_share_a_piece() -> None:
    second, pump = replace(WORK, key="J-2"), replace(PUMP, tag="P-2")
    other = replace(PART, work="J-2", kits=(Kit("W-1", "P-2", "G-1"),))
    shop = replace(SHOP, works=(WORK, second), pool_pieces=(PUMP, pump, GAUGE), kept=(PART, other))
    with pytest.raises(NotPossible, match="J-2 cannot be kept: W-1 is kept for something else"):
        make_plan(shop)
    with pytest.raises(NotPossible, match="kept part J-1 is listed more than once"):
        make_plan(replace(SHOP, kept=(PART, PART)))


@pytest.mark.parametrize(
    "limits",
    [Limits(seconds=0), Limits(threads=0), Limits(start_grid=timedelta(0)), Limits(seconds=float("nan"))],
)
def test_limits_that_no_search_can_keep_are_refused(limits: Limits) -> None:
    with pytest.raises(NotPossible):
        make_plan(SHOP, limits=limits)


SHORT = (
    ({"wrenches": ()}, Shortage.NO_DRIVE, (1, 0, 0)),
    ({"works": (replace(WORK, drives=("2 in",)),)}, Shortage.NO_DRIVE, (1, 0, 0)),
    ({"works": (replace(WORK, needed_nm=1001.0),)}, Shortage.TOO_WEAK, (1, 0, 0)),
    ({"works": (replace(WORK, kits=2),)}, Shortage.TOO_FEW, (1, 0, 0)),
    ({"wrenches": (replace(WRENCH, due_on=date(2026, 5, 3)),)}, Shortage.WRENCHES_DUE, (1, 0, 0)),
    (
        {"wrenches": (replace(WRENCH, busy=(Busy(MONDAY, MONDAY + HOUR),)),)},
        Shortage.WRENCHES_RESERVED,
        (1, 0, 0),
    ),
    ({"pool_pieces": (GAUGE,)}, Shortage.PUMPS_SHORT, (0, 1, 0)),
    ({"pool_pieces": (PUMP,)}, Shortage.GAUGES_SHORT, (0, 0, 1)),
    ({"pool_pieces": ()}, Shortage.PUMPS_SHORT, (0, 1, 1)),
    ({"pool_pieces": (replace(PUMP, due_on=date(2026, 5, 3)), GAUGE)}, Shortage.PUMPS_SHORT, (0, 1, 0)),
)


@pytest.mark.parametrize(("change", "why", "short"), SHORT)
def test_an_unserved_work_says_what_fails(
    change: dict[str, object], why: Shortage, short: tuple[int, int, int]
) -> None:
    plan = make_plan(replace(SHOP, **change))  # type: ignore[arg-type]
    assert plan.unserved == (Unserved("J-1", why, *short),)
    assert plan.proven


def test_a_work_whose_wrench_another_has_says_so_and_what_to_hire() -> None:
    second = replace(
        WORK, key="J-2", needed_nm=950.0, earliest_start_at=MONDAY + HOUR, latest_end_at=MONDAY + 9 * HOUR
    )
    third = replace(second, key="J-3", earliest_start_at=MONDAY + 44 * HOUR, latest_end_at=MONDAY + 52 * HOUR)
    fourth = replace(third, key="J-4")
    plan = make_plan(replace(SHOP, works=(WORK, second, third, fourth)))
    assert [one.shortage for one in plan.unserved] == [Shortage.WRENCHES_TAKEN] * 2
    wednesday, monday = date(2026, 5, 6), date(2026, 5, 4)
    (wrench,) = (hire for hire in plan.hires if hire.kind is Kind.WRENCH)
    assert wrench == Hire(Kind.WRENCH, "1 in", wrench.at_least_nm, "A", "G", 1, monday, wednesday)
    assert {(hire.kind, hire.count) for hire in plan.hires} == {
        (Kind.WRENCH, 1),
        (Kind.PUMP, 1),
        (Kind.GAUGE, 1),
    }


def test_without_the_solver_the_refusal_says_what_to_type() -> None:
    """In a process of its own, in which the module is not to be found."""
    program = (
        "import sys; sys.modules['highspy'] = None\n"
        "from datetime import UTC; from zoneinfo import ZoneInfo\n"
        "from fleet.planning.facts import PlanFacts; from fleet.planning.plan import make_plan\n"
        "from fleet.refusals import NotPossible\n"
        "try: make_plan(PlanFacts(ZoneInfo('UTC'), (), (), ()))\n"
        "except NotPossible as no: print(no)\n"
        "print('numpy' in sys.modules)\n"
    )
    run = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert "pip install highspy" in run.stdout
    assert run.stdout.endswith("False\n")


def test_the_solver_prints_nothing_of_its_own() -> None:
    program = (
        "from datetime import UTC; from zoneinfo import ZoneInfo\n"
        "from fleet.planning.facts import PlanFacts; from fleet.planning.plan import make_plan\n"
        "print('before'); make_plan(PlanFacts(ZoneInfo('UTC'), (), (), ())); print('after')\n"
    )
    run = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert (run.stdout, run.stderr) == ("before\nafter\n", "")
