"""How calibrated points move over time: the interval they speak for, and the picture of them."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from defusedxml.ElementTree import fromstring
from hypothesis import given
from hypothesis import strategies as st

from fleet.refusals import Unreadable
from fleet.rules.drift import DriftPoint, drift_of, propose_by_drift, shares_as_found
from fleet.rules.evidence import Stage
from fleet.rules.intervals import IntervalPolicy
from fleet.rules.pictures import drift_picture

DAY = date(2026, 5, 13)
SVG = "{http://www.w3.org/2000/svg}"
FIELDS = ("stage", "at_mpa", "found_si", "error_percent", "expanded_percent", "tolerance_percent", "result")


def point(years: float, error: float, at: float = 40.0, stage: Stage = Stage.AS_FOUND) -> DriftPoint:
    on = DAY + timedelta(days=round(365.25 * years))
    torque = 30 * at * (1 + error / 100)
    number = round(10 * years)
    return DriftPoint(number, f"C-{number}", on, stage, at, torque, error, 0.5, 3.0, "pass")


def test_pressures_that_nearly_agree_are_one_nominal() -> None:
    found = drift_of("10014", "wrench", [point(0, 1, 40.0), point(1, 2, 40.6), point(1, 1, 20.0)])
    assert [(one.at_mpa, len(one.points)) for one in found.nominals] == [(20.0, 1), (40.0, 2)]


def test_the_worst_share_of_each_certificate_newest_last() -> None:
    found = drift_of("10014", "wrench", [point(1, -2.4), point(0, 1.5), point(1, 0.3, 20.0)])
    assert shares_as_found(found) == [pytest.approx(0.5), pytest.approx(0.8)]


def test_a_steady_drift_is_proposed_from() -> None:
    """0.6 % a year against the chart of today, ±3 %: five years, cut to the room's one step up."""
    found = drift_of("10014", "wrench", [point(year, 0.6 * year) for year in range(4)])
    policy = IntervalPolicy(1, 36, 25, 50)
    now = 30 * 40 * 1.018
    made = propose_by_drift(12, found, policy, charted=lambda at: now * at / 40)
    assert made.interval == 15
    assert made.evidence.startswith("at 400 bar from 13 May 2026 to 13 May 2029")


def test_a_fast_drift_shortens_and_an_adjustment_begins_afresh() -> None:
    points = [point(year, 2.9 * year) for year in range(4)]
    policy = IntervalPolicy(1, 36, 25, 50)
    fast = drift_of("10014", "gauge", points)
    assert propose_by_drift(12, fast, policy, charted=lambda _: None).interval < 12
    mended = drift_of("10014", "gauge", [*points, point(3, 0.0, stage=Stage.AS_LEFT)])
    with pytest.raises(Unreadable, match="three calibrations"):
        propose_by_drift(12, mended, policy, charted=lambda _: None)


# --- The picture --------------------------------------------------------------------------------------------


def test_the_picture_says_everything_in_words_too() -> None:
    found = drift_of("10014", "wrench", [point(0, 1), point(1, -4), point(1, 0, stage=Stage.AS_LEFT)])
    root = fromstring(drift_picture(found, "bar"))
    assert root.findtext(f"{SVG}title") == "Drift of wrench 1001-4"
    told = root.findtext(f"{SVG}desc") or ""
    assert "13 May 2026, certificate C-0, as found: +1.00 % ± 0.50 %, allowed ±3 %" in told
    assert len(root.findall(f".//{SVG}circle/{SVG}title")) == 3


def test_the_picture_puts_every_point_at_its_place() -> None:
    """The scale runs to 6 % and the panel is 150 high: 1 % is 12.5 up from the middle line."""
    found = drift_of("10014", "wrench", [point(0, 1), point(2, -4)])
    circles = fromstring(drift_picture(found, "bar")).findall(f"{SVG}circle")[:2]
    (x1, y1), (x2, y2) = ((float(one.get("cx", "")), float(one.get("cy", ""))) for one in circles)
    middle = 80 + 75
    assert (y1, y2) == (middle - 12.5, middle + 50)
    assert x1 < x2


def test_whatever_a_certificate_is_called_is_text() -> None:
    bad = point(0, 1)
    bad = DriftPoint(1, "</title><script>&'\"", bad.calibrated_on, *(getattr(bad, f) for f in FIELDS))
    root = fromstring(drift_picture(drift_of("10014", "wrench", [bad]), "psi"))
    assert root.findall(f".//{SVG}script") == []
    assert "</title><script>&'\"" in (root.findtext(f"{SVG}desc") or "")


@given(
    st.lists(
        st.tuples(st.floats(0, 9), st.floats(-90, 90), st.floats(1, 100), st.sampled_from(list(Stage))),
        min_size=1,
        max_size=12,
    )
)
def test_every_drift_can_be_drawn(found: list[tuple[float, float, float, Stage]]) -> None:
    drift = drift_of("10014", "gauge", [point(*one) for one in found])
    drawn = drift_picture(drift, "MPa")
    fromstring(drawn)
    assert "nan" not in drawn
    assert "inf" not in drawn.replace("information", "")
