"""When a pressure test proves a hose, and by which gauge.

Twice the maximum working pressure, held for 30 to 60 seconds without a leak: ISO 1402 and ISO 6605.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.figures import Units
from fleet.bolting.parts import Line
from fleet.measures.quantities import Kind, read_measure
from fleet.refusals import NotPossible
from fleet.rules.proof_tests import (
    CalibrationStand,
    LineTest,
    check_gauge,
    judge_proof_test,
    lines_tested,
    mark_for,
    required_pressures,
)

PSI, BAR = Units("psi", "lbf·ft"), Units("bar", "N·m")
TODAY = date(2026, 5, 13)
MARK = "700 bar / 10,000 psi"
BOTH: dict[Line, float | None] = {Line.ADVANCE: 70.0, Line.RETRACT: 70.0}


def mpa(text: str) -> float:
    return read_measure(text, Kind.PRESSURE).base


@pytest.mark.parametrize(
    ("pressure", "passed"),
    [("20,000 psi", True), ("19,999 psi", False), ("1400 bar", True), ("1399 bar", False), ("140 MPa", True)],
)
def test_twice_the_mark_in_the_unit_of_the_gauge_proves_a_dual_marked_hose(
    pressure: str, passed: bool
) -> None:
    unit = read_measure(pressure, Kind.PRESSURE).unit
    ratings = dict.fromkeys(Line, mark_for(MARK, 70.0, unit))
    tested = lines_tested(
        "1000-6", required_pressures("1000-6", "hose", ratings, None), mpa(pressure), None, PSI
    )
    assert judge_proof_test(tested, held_seconds=30, tight=True, units=PSI).passed is passed


@pytest.mark.parametrize(("written", "unit", "found"), [(None, "psi", 70.0), ("700 bar", "psi", 70.0)])
def test_without_a_mark_in_that_unit_the_rating_counts(written: str | None, unit: str, found: float) -> None:
    assert mark_for(written, 70.0, unit) == found
    assert mark_for(written, None, unit) is None


@pytest.mark.parametrize(
    ("held", "tight", "reasons"),
    [
        (30, True, ()),
        (60, True, ()),
        (29, True, ("It was held for 29 seconds; it needs 30 to 60.",)),
        (45, False, ("It leaked.",)),
        (0, False, ("It was held for 0 seconds; it needs 30 to 60.", "It leaked.")),
    ],
)
def test_held_for_half_a_minute_and_tight(held: int, tight: bool, reasons: tuple[str, ...]) -> None:
    verdict = judge_proof_test(
        [LineTest(Line.ADVANCE, 140.0, 140.0)], held_seconds=held, tight=tight, units=BAR
    )
    assert (verdict.passed, verdict.reasons) == (not reasons, reasons)


@pytest.mark.parametrize("held", [-1, 3_601])
def test_a_time_that_cannot_be_is_refused(held: int) -> None:
    with pytest.raises(NotPossible, match="from 0 to 3,600"):
        judge_proof_test([LineTest(Line.ADVANCE, 1.0, 1.0)], held_seconds=held, tight=True, units=BAR)


def test_each_line_is_tested_at_twice_its_own_rating() -> None:
    required = required_pressures("1000-6", "hose", {Line.ADVANCE: 70.0, Line.RETRACT: 15.0}, None)
    assert required == {Line.ADVANCE: 140.0, Line.RETRACT: 30.0}
    with pytest.raises(
        NotPossible, match="its advance line is tested at 1,400 bar, its retract line at 300 bar"
    ):
        lines_tested("1000-6", required, 140.0, None, BAR)

    tested = lines_tested("1000-6", required, 140.0, 29.0, BAR)
    verdict = judge_proof_test(tested, held_seconds=45, tight=True, units=BAR)

    assert verdict.reasons == ("The retract line was held at 290 bar; it needs 300 bar.",)
    assert verdict.governing == LineTest(Line.RETRACT, 29.0, 30.0)


@given(st.floats(1, 300), st.floats(1, 300), st.floats(1, 150), st.floats(1, 150))
def test_no_line_below_twice_its_rating_ever_passes(
    advance: float, retract: float, advance_mwp: float, retract_mwp: float
) -> None:
    required = required_pressures("1", "hose", {Line.ADVANCE: advance_mwp, Line.RETRACT: retract_mwp}, None)
    verdict = judge_proof_test(
        lines_tested("1", required, advance, retract, BAR), held_seconds=45, tight=True, units=BAR
    )
    enough = advance >= 2 * advance_mwp * (1 - 2e-9) and retract >= 2 * retract_mwp * (1 - 2e-9)
    assert not verdict.passed or enough


@pytest.mark.parametrize("unknown", [None, 0.0, float("nan")])
def test_a_hose_whose_rating_is_unknown_cannot_be_proved(unknown: float | None) -> None:
    with pytest.raises(NotPossible, match="of the retract line of 1000-6 is not on record"):
        required_pressures("1000-6", "hose", BOTH | {Line.RETRACT: unknown}, None)


def test_a_hose_asks_for_what_the_standard_does_and_all_else_for_what_its_manual_does() -> None:
    with pytest.raises(NotPossible, match="leave --required out"):
        required_pressures("1000-6", "hose", BOTH, 100.0)
    with pytest.raises(NotPossible, match="1000-6 is a coupler: say with --required"):
        required_pressures("1000-6", "coupler", BOTH, None)
    assert required_pressures("1000-6", "coupler", {}, 105.0) == dict.fromkeys(Line, 105.0)


GOOD = CalibrationStand("calibration", TODAY - timedelta(days=300), TODAY, None)


def gauge(*stands: CalibrationStand, kind: str = "gauge", ends: float | None = 160.0) -> None:
    check_gauge("2000-1", kind, ends, stands, highest_mpa=140.0, on=TODAY, units=BAR)


def test_a_gauge_in_date_through_its_last_day_with_the_range_is_good() -> None:
    gauge(GOOD)
    gauge(GOOD, ends=140.0)


@pytest.mark.parametrize(
    ("stands", "kind", "ends", "said"),
    [
        ([GOOD], "hose", 160.0, "2000-1 is a hose, not a gauge"),
        ([GOOD], "gauge", None, "The range of gauge 2000-1 is not on record"),
        ([GOOD], "gauge", 139.9, "ends at 1,399 bar and cannot have shown 1,400 bar"),
        ([], "gauge", 160.0, "has no calibration on record"),
        (
            [CalibrationStand("calibration", None, TODAY, None)],
            "gauge",
            160.0,
            "has no calibration on record",
        ),
        (
            [CalibrationStand("calibration", TODAY, TODAY - timedelta(days=1), None)],
            "gauge",
            160.0,
            "The calibration of gauge 2000-1 was due 12 May 2026",
        ),
        ([CalibrationStand("calibration", TODAY, None, 0.0)], "gauge", 160.0, "is due by use"),
        (
            [GOOD, CalibrationStand("yearly", None, TODAY - timedelta(days=9), None)],
            "gauge",
            160.0,
            "The yearly",
        ),
    ],
)
def test_a_gauge_that_proves_nothing_is_refused(
    stands: list[CalibrationStand], kind: str, ends: float | None, said: str
) -> None:
    with pytest.raises(NotPossible, match=said):
        gauge(*stands, kind=kind, ends=ends)
