"""What stands against a kit: how grave, about which part, and in a whole sentence."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from fleet.bolting.charts import ChartPoint, make_chart
from fleet.bolting.circuits import End, Line, Part
from fleet.bolting.figures import Units
from fleet.bolting.gauges import read_accuracy
from fleet.bolting.loosening import needed_torque
from fleet.rules.breakouts import Spread
from fleet.rules.findings import Finding, Severity
from fleet.rules.kits import JointFacts, KitFacts, WrenchOffer, judge_kit, smallest_cover, what_to_hire
from fleet.rules.sockets import SocketFacts
from tests.bolting.kits import FEMALE, GAUGE, KIT, MALE, WRENCH, hose, port, relieved

RUST = "Rusted studs, four years in salt air"
INCH = 25.4
HARD, SOFT, NOTE = Severity
BAR = Units("bar", "N·m")
# 134.2857 N·m per MPa: the chart of an invented 9,400 N·m wrench.
CHART = make_chart([ChartPoint(p, 9400 / 70 * p) for p in (7, 14, 28, 42, 56, 70)], "bench sheet 7")
SOCKET = SocketFacts("S-1", 1.5 * INCH, 55.0)
GOOD = KitFacts(KIT, CHART, drive_mm=1.5 * INCH, socket=SOCKET, graduation_mpa=1.0, units=BAR)
JOINT = JointFacts("J-101/3", 4700, 1.5, RUST, 55.0, 3.0)


def with_part(kit: KitFacts, *new: Part) -> KitFacts:
    named = {part.label: part for part in new}
    return replace(kit, parts=tuple(named.get(part.label, part) for part in kit.parts))


def rated(pressure: float) -> KitFacts:
    return with_part(GOOD, hose("H-1", pressure), relieved(pressure, min(10.0, pressure)))


SPOILT: dict[str, tuple[KitFacts, JointFacts, Finding]] = {
    "no chart": (
        replace(GOOD, chart=None),
        JOINT,
        Finding(
            HARD,
            "no-chart",
            "There is no pressure-torque chart for W-1, so no set pressure can be taken.",
            "W-1",
        ),
    ),
    "no wrench and no chart": (
        KitFacts((), None),
        JOINT,
        Finding(
            HARD,
            "no-chart",
            "There is no pressure-torque chart for the wrench, so no set pressure can be taken.",
            "the wrench",
        ),
    ),
    "one rated point": (
        replace(GOOD, chart=make_chart([ChartPoint(70, 9400)], "plate")),
        JOINT,
        Finding(
            NOTE,
            "chart-approximate",
            "The chart of W-1 is one rated point; every reading from it is approximate.",
            "W-1",
        ),
    ),
    "target off the chart": (
        GOOD,
        replace(JOINT, target_torque_nm=9500, loosening_factor=0.75),
        Finding(
            HARD,
            "target-off-chart",
            "The target torque: 9,500 N·m lies outside the chart, which runs from 940 N·m to 9,400 N·m.",
            "J-101/3",
        ),
    ),
    "above the chart": (
        replace(GOOD, chart=make_chart(CHART.points[:4], "short sheet")),
        JOINT,
        Finding(
            NOTE,
            "clipped-to-chart",
            "The advance line may carry 700 bar, but the chart of W-1 ends at 420 bar: what lies above is "
            "not counted.",
            "W-1",
        ),
    ),
    "weaker than the chart": (
        rated(5.0),
        JOINT,
        Finding(
            HARD,
            "limit-below-chart",
            "The highest pressure of the kit: 50 bar lies outside the chart, which runs from 70 bar to "
            "700 bar.",
            "W-1",
        ),
    ),
    "set above a rating": (
        rated(30.0),
        JOINT,
        Finding(
            HARD,
            "set-above-rating",
            "The set pressure is 350 bar, and H-1 limits the advance line to 300 bar.",
            "H-1",
        ),
    ),
    "set above the relief": (
        with_part(GOOD, relieved(30.0)),
        JOINT,
        Finding(
            HARD,
            "set-above-relief",
            "The set pressure is 350 bar, and the relief valve of P-1 opens at 300 bar.",
            "P-1",
        ),
    ),
    "no graduation": (
        replace(GOOD, graduation_mpa=None),
        JOINT,
        Finding(
            SOFT,
            "graduation-unknown",
            "What G-1 can show is not on record, so the set pressure is not rounded to it.",
            "G-1",
        ),
    ),
    "too coarse for the chart": (
        replace(GOOD, graduation_mpa=5.0),
        replace(JOINT, target_torque_nm=950, loosening_factor=1.0),
        Finding(
            SOFT,
            "gauge-too-coarse",
            "G-1 is graduated in 50 bar and shows no pressure on the chart near the target.",
            "G-1",
        ),
    ),
    "too coarse for the joint": (
        replace(GOOD, graduation_mpa=10.0),
        JOINT,
        Finding(
            SOFT,
            "gauge-too-coarse",
            "G-1 shows 400 bar, which gives 5,371 N·m: +14.3 %, and the joint allows 3 %.",
            "G-1",
        ),
    ),
    "a coarse class": (
        replace(GOOD, gauge_accuracy=read_accuracy("1.6")),
        JOINT,
        Finding(
            NOTE,
            "gauge-error",
            "G-1, class 1.6, may be off by 4.6 % at the set pressure, and the joint allows 3 %.",
            "G-1",
        ),
    ),
    "tight": (
        with_part(GOOD, relieved(56.0)),
        JOINT,
        Finding(
            NOTE,
            "tight",
            "Loosening: The kit can give 7,520 N·m and the joint needs 7,050 N·m, 94 % of it: tight. "
            "If the nut does not move, take a larger wrench, never more pressure.",
            "W-1",
        ),
    ),
    "not covered": (
        GOOD,
        replace(JOINT, loosening_factor=2.5),
        Finding(
            HARD,
            "not-covered",
            "Loosening: The kit can give 9,400 N·m and the joint needs 11,750 N·m: take a larger wrench, "
            "never more pressure.",
            "W-1",
        ),
    ),
    "not covered and not sound": (
        with_part(GOOD, hose("H-1", series="X")),
        replace(JOINT, loosening_factor=2.5),
        Finding(
            HARD,
            "not-covered",
            "Loosening: as it is put together the kit could give 9,400 N·m, and the joint needs 11,750 N·m. "
            "Put its parts right first.",
            "W-1",
        ),
    ),
    "a nut nobody measured": (
        GOOD,
        replace(JOINT, across_flats_mm=None),
        Finding(
            SOFT,
            "across-flats-unknown",
            "The width across flats of joint J-101/3 is not on record: measure a nut.",
            "J-101/3",
        ),
    ),
    "no socket": (
        replace(GOOD, socket=None),
        JOINT,
        Finding(HARD, "no-socket", "W-1 has a square drive and the kit has no socket.", "W-1"),
    ),
}


@pytest.mark.parametrize("spoilt", SPOILT)
def test_what_is_wrong_is_said_whole_and_laid_to_the_right_part(spoilt: str) -> None:
    kit, joint, expected = SPOILT[spoilt]
    verdict = judge_kit(kit, joint)
    assert [one for one in verdict.findings if one.code == expected.code] == [expected]
    assert verdict.stopped is any(one.severity is not NOTE for one in verdict.findings)


def test_what_was_measured_before_raises_the_need_and_is_noted() -> None:
    measured = Spread(2, 8000.0, 9000.0, 8500.0, None, None)
    verdict = judge_kit(replace(GOOD, units=Units("bar", "kN·m")), replace(JOINT, measured=measured))
    assert verdict.need.needed_nm == 9000
    noted = {one.code: one for one in verdict.findings}
    assert set(noted) == {"breakouts-above-plan", "tight"}
    assert noted["breakouts-above-plan"].about == "J-101/3"
    assert "Measured before at J-101/3" in noted["breakouts-above-plan"].sentence
    assert "9 kN·m" in noted["breakouts-above-plan"].sentence
    assert {one.code for one in judge_kit(GOOD, JOINT).findings} == set()


def test_a_target_off_the_chart_is_refused_in_the_units_of_the_reader() -> None:
    kilo = replace(GOOD, units=Units("bar", "kN·m"))
    off = judge_kit(kilo, replace(JOINT, target_torque_nm=9500, loosening_factor=0.75))
    (refused,) = (one for one in off.findings if one.code == "target-off-chart")
    assert "9.5 kN·m lies outside the chart, which runs from 0.94 kN·m to 9.4 kN·m" in refused.sentence


def test_the_findings_of_the_circuit_are_among_them_in_the_same_units() -> None:
    verdict = judge_kit(with_part(GOOD, hose("H-1", 60.0)), JOINT)
    assert set(verdict.circuit.findings) <= set(verdict.findings)
    (finding,) = verdict.circuit.findings
    assert "P-1 can put 700 bar on the advance line" in finding.sentence


def test_the_gauge_is_judged_where_it_will_be_read() -> None:
    """At 350 bar a gauge to 2,000 bar stands at 17 %, though at the relief setting it would stand at 35 %."""
    wide = with_part(GOOD, replace(GAUGE, gauge_range_mpa=200.0))
    (finding,) = judge_kit(wide, JOINT).findings
    assert (finding.code, finding.about) == ("gauge-range-band", "G-1")
    assert "is read at 18 % of its range" in finding.sentence


def test_the_verdict_names_its_joint_and_the_chart_it_was_read_from() -> None:
    verdict = judge_kit(GOOD, JOINT)
    assert (verdict.mark, verdict.chart_source, verdict.findings) == ("J-101/3", "bench sheet 7", ())
    assert verdict.margin_percent == pytest.approx(25)
    without = judge_kit(replace(GOOD, chart=None), JOINT)
    assert (without.chart_source, without.margin_percent) == (None, None)


def test_the_margin_is_that_of_the_larger_need() -> None:
    eased = judge_kit(GOOD, replace(JOINT, loosening_factor=0.75))
    assert eased.margin_percent == pytest.approx(50)
    assert eased.loosening is not None
    assert eased.loosening.margin_percent == pytest.approx(62.5)


def test_a_joint_without_a_tolerance_or_a_kit_without_a_class_has_no_note_of_the_gauge() -> None:
    classed = replace(GOOD, gauge_accuracy=read_accuracy("1.6"), graduation_mpa=10.0)
    assert judge_kit(classed, replace(JOINT, tolerance_percent=None)).findings == ()
    no_gauge = replace(classed, parts=KIT[:3])
    assert "gauge-error" not in {one.code for one in judge_kit(no_gauge, JOINT).findings}
    off_chart = replace(JOINT, target_torque_nm=9500, loosening_factor=0.75)
    assert "gauge-error" not in {one.code for one in judge_kit(classed, off_chart).findings}


def test_a_gauge_exactly_as_good_as_the_joint_asks_is_good_enough() -> None:
    """Class 1 on 100 MPa is ±1 MPa: 2 % of a reading of 50 MPa (EN 837-1)."""
    classed = replace(GOOD, gauge_accuracy=read_accuracy("1"))
    half = replace(JOINT, target_torque_nm=9400 / 70 * 50, loosening_factor=0.75)
    assert judge_kit(classed, replace(half, tolerance_percent=2.0)).findings == ()
    (finding,) = judge_kit(classed, replace(half, tolerance_percent=1.9)).findings
    assert finding.code == "gauge-error"


def test_of_two_gauges_on_one_kit_the_first_is_the_one_that_is_read() -> None:
    second = replace(GAUGE, label="G-2", ports=(port(Line.RETRACT, End.PUMP, MALE),), gauge_range_mpa=20.0)
    outlet = replace(KIT[0], ports=(*KIT[0].ports, port(Line.RETRACT, End.GAUGE, FEMALE)))
    kit = replace(with_part(GOOD, outlet), parts=(outlet, *KIT[1:], second), graduation_mpa=None)
    (finding,) = (one for one in judge_kit(kit, JOINT).findings if one.code == "graduation-unknown")
    assert finding.about == "G-1"


def test_of_two_wrenches_that_cover_alike_the_smaller_then_the_first_tag_is_picked() -> None:
    need = needed_torque(5640, 1.5, RUST)
    offers = [WrenchOffer("W-2", 9_500), WrenchOffer("W-1", 9_500), WrenchOffer("W-0", 12_000)]
    assert smallest_cover(offers, need) == WrenchOffer("W-1", 9_500)
    twice = [WrenchOffer("W-1", 9_500), WrenchOffer("W-1", 9_500)]
    assert smallest_cover(twice, need) == twice[0]
    assert smallest_cover([WrenchOffer("W-9", math.nan)], need) is None


def test_what_to_hire_is_asked_for_in_the_units_of_the_job() -> None:
    need = needed_torque(5640, 1.5, RUST)
    asked = what_to_hire(need, 68.9, link_mm=60.0, units=Units("bar", "kN·m"))
    # 8.46 kN·m over 0.9, up to the next hundredth.
    assert asked == (
        "one ratchet link wrench for 60 mm (2 3/8 in) across flats giving at least 9.4 kN·m at 689 bar; "
        "8.46 kN·m is needed for loosening"
    )


def test_a_wrench_that_is_not_in_the_kit_is_called_by_its_kind() -> None:
    assert GOOD.label(WRENCH.kind) == "W-1"
    assert KitFacts((), None).label(WRENCH.kind) == "the wrench"
