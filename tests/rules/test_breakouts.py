"""Breakouts summed up: against the t distribution of scipy and a printed table."""

from __future__ import annotations

import math
import re
import statistics

import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.charts import ChartPoint, make_chart
from fleet.bolting.figures import Units
from fleet.bolting.loosening import Governs
from fleet.measures.quantities import Kind
from fleet.refusals import NotPossible, OffTheChart, Unreadable
from fleet.rules.breakouts import (
    Spread,
    WrenchFacts,
    demand,
    implied_factor,
    judge_breakout,
    read_breakout,
    say_spread,
    sum_up,
)

ROOM = Units("psi", "lbf·ft")
CHART = make_chart([ChartPoint(20.0, 600.0), ChartPoint(70.0, 2100.0)], "plate")
WRENCH = WrenchFacts("wrench 1001-4", CHART, 70.0)
torques = st.lists(st.floats(100, 50_000), min_size=3, max_size=30)


# --- The spread ---------------------------------------------------------------------------------------------


def test_nothing_measured_is_nothing_summed_up() -> None:
    assert sum_up([]) is None


def test_one_is_no_spread_and_two_give_no_bound() -> None:
    assert sum_up([1000.0]) == Spread(1, 1000.0, 1000.0, 1000.0, None, None)
    two = sum_up([1000.0, 1200.0])
    assert two is not None
    assert two.deviation_nm == pytest.approx(100 * math.sqrt(2))
    assert two.bound_nm is None


# Student's t at 0.95, one-sided, of the printed tables: 2.920 and 2.132 for 2 and 4 degrees of freedom.
@pytest.mark.parametrize(("found", "t"), [([900, 1000, 1100], 2.920), ([980, 990, 1000, 1010, 1020], 2.132)])
def test_the_bound_for_the_next_nut_by_the_printed_table(found: list[float], t: float) -> None:
    spread = sum_up(found)
    assert spread is not None
    width = statistics.stdev(found) * math.sqrt(1 + 1 / len(found))
    assert spread.bound_nm == pytest.approx(1000 + t * width, abs=5e-4 * width)


@given(torques)
def test_the_bound_is_that_of_another_library(found: list[float]) -> None:
    spread = sum_up(found)
    assert spread is not None
    assert spread.bound_nm is not None
    t = scipy.stats.t.ppf(0.95, len(found) - 1)
    width = statistics.stdev(found) * math.sqrt(1 + 1 / len(found))
    assert spread.bound_nm == pytest.approx(statistics.fmean(found) + t * width, rel=1e-9)
    assert spread.lowest_nm == min(found)
    assert spread.highest_nm == max(found)


def test_the_factor_is_of_the_highest_and_never_below_what_a_person_may_give() -> None:
    spread = sum_up([1000.0, 1500.0])
    assert spread is not None
    assert implied_factor(spread, 1000.0) == pytest.approx(1.5)
    assert implied_factor(spread, 10_000.0) == 0.5


def test_a_spread_in_words() -> None:
    one, several = sum_up([1355.817949]), sum_up([1355.817949, 2711.635897])
    assert one is not None
    assert several is not None
    assert say_spread(one, ROOM) == "once, at 1,000 lbf·ft"
    assert say_spread(several, ROOM) == "2 times, 1,000 lbf·ft to 2,000 lbf·ft"


# --- What a joint needs -------------------------------------------------------------------------------------


def test_the_larger_of_the_plan_and_the_highest_measured_is_needed() -> None:
    before = sum_up([1700.0, 1900.0])
    need, finding = demand("F-1", 1000.0, 1.5, "rusted studs, outdoors", before, Units())
    assert (need.loosening_nm, need.needed_nm, need.governs) == (1900.0, 1900.0, Governs.LOOSENING)
    assert finding is not None
    assert finding.code == "breakouts-above-plan"
    assert "2 times, 1,700 N·m to 1,900 N·m" in finding.sentence

    need, finding = demand("F-1", 1000.0, 2.0, "rusted studs, outdoors", before, Units())
    assert need.loosening_nm == 2000.0
    assert finding is not None
    assert finding.code == "breakouts-below-plan"


def test_breakouts_below_the_target_leave_tightening_in_charge() -> None:
    need, finding = demand("F-1", 1000.0, 0.6, "greased, opened last week", sum_up([800.0]), Units())
    assert (need.loosening_nm, need.needed_nm, need.governs) == (800.0, 1000.0, Governs.TIGHTENING)
    assert finding is not None


def test_nothing_measured_changes_nothing() -> None:
    need, finding = demand("F-1", 1000.0, 1.5, "rusted studs, outdoors", None, Units())
    assert (need.loosening_nm, finding) == (1500.0, None)


# --- One breakout -------------------------------------------------------------------------------------------


def test_torque_and_pressure_are_told_apart_by_their_unit() -> None:
    assert read_breakout("3,400 lbf·ft").kind is Kind.TORQUE
    assert read_breakout("6,200 psi").kind is Kind.PRESSURE
    assert read_breakout("420bar").kind is Kind.PRESSURE
    for text in ("3400", "36 mm", "psi", "loose", ""):
        with pytest.raises(Unreadable, match=r"neither a torque nor a pump pressure|write it like"):
            read_breakout(text)
    with pytest.raises(Unreadable, match="reads both ways"):
        read_breakout("6.200 psi")


def test_a_pressure_becomes_the_torque_of_the_wrenchs_chart_rounded_up() -> None:
    kept = judge_breakout(read_breakout("401 bar"), WRENCH, 1000.0, "N·m", Units())
    assert (kept.torque_written, kept.torque_nm) == ("1,203 N·m", 1203.0)
    assert (kept.pressure_written, kept.pressure_mpa) == ("401 bar", 40.1)
    # 1,203 N·m are 887.3 lbf·ft.
    assert (
        judge_breakout(read_breakout("401 bar"), WRENCH, 1000.0, "lbf·ft", ROOM).torque_written
        == "887.3 lbf·ft"
    )


def test_a_torque_is_kept_as_it_was_written() -> None:
    kept = judge_breakout(read_breakout("1500 N·m"), None, 1000.0, "lbf·ft", ROOM)
    assert (kept.torque_written, kept.torque_nm, kept.pressure_written) == ("1500 N·m", 1500.0, None)


@pytest.mark.parametrize(
    ("reading", "wrench", "sentence"),
    [
        ("400 bar", None, "name the wrench too"),
        ("400 bar", WrenchFacts("wrench 1001-4", None, 70.0), "no pressure-torque chart for wrench 1001-4"),
        ("710 bar", WRENCH, "above the maximum working pressure of wrench 1001-4, 70 MPa"),
        ("2200 N·m", WRENCH, "wrench 1001-4 gives at most 2,100 N·m"),
        ("1600 N·m", WrenchFacts("wrench 1001-4", CHART, 50.0), "wrench 1001-4 gives at most 1,500 N·m"),
        ("5100 N·m", None, "more than 5 times the target torque of 1,000 N·m"),
        ("0 N·m", None, "must be above zero"),
    ],
)
def test_a_breakout_that_cannot_be_is_refused(
    reading: str, wrench: WrenchFacts | None, sentence: str
) -> None:
    with pytest.raises(NotPossible, match=re.escape(sentence)):
        judge_breakout(read_breakout(reading), wrench, 1000.0, "N·m", Units())


def test_outside_the_chart_nothing_is_read() -> None:
    for reading, facts in (("150 bar", WRENCH), ("800 bar", WrenchFacts("wrench 1001-4", CHART, None))):
        with pytest.raises(OffTheChart, match="lies outside the chart"):
            judge_breakout(read_breakout(reading), facts, 1000.0, "N·m", Units())
