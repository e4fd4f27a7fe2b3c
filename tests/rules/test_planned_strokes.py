"""What use a joint is planned to make. The arithmetic by hand; the formula is tested with the strokes."""

from __future__ import annotations

import math

import pytest

from fleet.bolting.charts import ChartPoint, make_chart
from fleet.rules.strokes import PlannedUse, Turning, WrenchPlate, oil_of, plan_use

CHART = make_chart([ChartPoint(20.0, 600.0), ChartPoint(70.0, 2100.0)], "plate")
WRENCH = WrenchPlate(30.0, 70.0, 35.0, CHART)
JOINT = Turning(12, 90.0, 1000.0, None, None)


# 3 strokes of 70 + 35 cm³ on each of 12 nuts are 3.78 L, at 1.2 L/min 3.15 min: 4 whole ones.
def test_cycles_and_minutes_by_the_turn_of_the_nuts() -> None:
    assert plan_use(JOINT, WRENCH, 1.2) == PlannedUse(36, 4, worked_out=True)


def test_a_planners_figure_goes_first() -> None:
    planned = Turning(12, 90.0, 1000.0, 40, None)
    assert plan_use(planned, WRENCH, 1.2) == PlannedUse(40, None)
    minutes = Turning(12, 90.0, 1000.0, None, 20)
    assert plan_use(minutes, WRENCH, 1.2) == PlannedUse(36, 20, worked_out=True)


def test_what_is_not_on_record_is_not_guessed() -> None:
    nothing = PlannedUse(None, None)
    assert plan_use(Turning(12, None, 1000.0, None, None), WRENCH, 1.2) == nothing
    assert plan_use(JOINT, None, 1.2) == nothing
    assert plan_use(JOINT, WrenchPlate(None, 70.0, 35.0, CHART), 1.2) == nothing
    assert plan_use(JOINT, WRENCH, None) == PlannedUse(36, None, worked_out=True)
    bare = WrenchPlate(30.0, None, None, None)
    assert plan_use(JOINT, bare, 1.2) == PlannedUse(36, None, worked_out=True)


# 1,000 N·m is reached at 33.33 MPa; over 30° that is 1000 · π/6 / 33.33 = 15.7 cm³.
def test_oil_that_is_not_on_record_is_taken_off_the_chart_and_marked() -> None:
    plate = WrenchPlate(30.0, None, None, CHART)
    oil = oil_of(plate, 1000.0)
    assert oil is not None
    assert oil.advance_cm3 == pytest.approx(1000 * math.pi / 6 / (100 / 3))
    assert (oil.return_cm3, oil.estimated, oil.back_as_out) == (oil.advance_cm3, True, True)
    # Off the chart, and where no torque is given, its top counts.
    top = 2100 * math.pi / 6 / 70
    for torque in (None, 5000.0):
        found = oil_of(plate, torque)
        assert found is not None
        assert found.advance_cm3 == pytest.approx(top)


def test_oil_on_record_is_not_estimated() -> None:
    oil = oil_of(WRENCH, 1000.0)
    assert oil is not None
    assert (oil.advance_cm3, oil.return_cm3, oil.estimated, oil.back_as_out) == (70.0, 35.0, False, False)
