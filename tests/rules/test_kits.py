"""A kit held against a joint, as the planner does before anybody carries it out."""

from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fleet.bolting.charts import ChartPoint, make_chart
from fleet.bolting.circuits import Line, Part
from fleet.bolting.figures import Units
from fleet.bolting.gauges import read_accuracy
from fleet.bolting.loosening import CoverState, Governs
from fleet.refusals import Unreadable
from fleet.rules.findings import Severity
from fleet.rules.kits import (
    JointFacts,
    KitFacts,
    KitVerdict,
    judge_kit,
)
from fleet.rules.sockets import SocketFacts
from tests.bolting.kits import GAUGE, KIT, PSI_10_000, hose, relieved

RUST = "Rusted studs, four years in salt air"
INCH = 25.4

# 134.2857 N·m per MPa: the chart of an invented 9,400 N·m wrench.
CHART = make_chart([ChartPoint(p, 9400 / 70 * p) for p in (7, 14, 28, 42, 56, 70)], "bench sheet 7")
SOCKET = SocketFacts("S-1", 1.5 * INCH, 2.375 * INCH)
KIT_1 = KitFacts(KIT, CHART, drive_mm=1.5 * INCH, socket=SOCKET, graduation_mpa=1.0)
LINK_KIT = KitFacts(KIT, CHART, link_mm=(46.0, 60.0), graduation_mpa=1.0)
JOINT = JointFacts("J-101/3", 4700, 1.5, RUST, 2.375 * INCH, 3.0)


def codes(verdict: KitVerdict, *severities: Severity) -> list[str]:
    wanted = severities or (Severity.HARD, Severity.SOFT)
    return [finding.code for finding in verdict.findings if finding.severity in wanted]


def sentence(verdict: KitVerdict, code: str) -> str:
    return next(finding.sentence for finding in verdict.findings if finding.code == code)


def with_part(kit: KitFacts, new: Part) -> KitFacts:
    return replace(kit, parts=tuple(new if part.label == new.label else part for part in kit.parts))


def test_a_good_kit_covers_its_joint_with_nothing_against_it() -> None:
    verdict = judge_kit(KIT_1, JOINT)
    assert verdict.findings == ()
    assert not verdict.stopped
    assert verdict.covered is CoverState.COVERED
    assert verdict.need.needed_nm == 7050
    assert verdict.available_nm == pytest.approx(9400)
    assert verdict.set_pressure is not None
    assert verdict.set_pressure.pressure_mpa == pytest.approx(35)
    assert verdict.margin_percent == pytest.approx(25)
    assert verdict.tightening is not None
    assert verdict.tightening.margin_percent == pytest.approx(50)


def test_the_set_pressure_is_rounded_to_what_the_gauge_shows_and_says_what_that_gives() -> None:
    verdict = judge_kit(KIT_1, replace(JOINT, target_torque_nm=4750))
    assert verdict.set_pressure is not None
    assert verdict.set_pressure.pressure_mpa == pytest.approx(35.372, abs=1e-3)
    assert verdict.gauge_setting is not None
    assert verdict.gauge_setting.pressure_mpa == 35.0
    assert verdict.gauge_setting.torque_nm == pytest.approx(4700)
    assert verdict.findings == ()


def test_a_gauge_that_rounds_the_torque_out_of_tolerance_is_a_soft_stop() -> None:
    verdict = judge_kit(replace(KIT_1, graduation_mpa=10.0), JOINT)
    assert codes(verdict) == ["gauge-too-coarse"]
    assert "+14.3 %, and the joint allows 3 %" in sentence(verdict, "gauge-too-coarse")
    assert codes(verdict, Severity.HARD) == []


def test_a_gauge_whose_class_alone_is_worse_than_the_joint_allows_is_noted() -> None:
    # ±1.6 MPa at 35 MPa is 4.6 %; at 70 MPa it is 2.3 %.
    classed = replace(KIT_1, gauge_accuracy=read_accuracy("1.6"))
    verdict = judge_kit(classed, JOINT)
    assert codes(verdict) == []
    assert codes(verdict, Severity.NOTE) == ["gauge-error"]
    assert "G-1, class 1.6, may be off by 4.6 %" in sentence(verdict, "gauge-error")
    full = replace(JOINT, target_torque_nm=9400, loosening_factor=0.75)
    assert codes(judge_kit(classed, full), Severity.NOTE) == ["tight"]
    assert judge_kit(replace(KIT_1, gauge_accuracy=read_accuracy("1")), JOINT).findings == ()


def test_a_gauge_whose_graduation_is_not_known_is_a_soft_stop() -> None:
    verdict = judge_kit(replace(KIT_1, graduation_mpa=None), JOINT)
    assert codes(verdict) == ["graduation-unknown"]
    assert verdict.gauge_setting is None
    assert verdict.set_pressure is not None


def test_rounding_never_goes_past_what_the_kit_may_stand() -> None:
    weak = with_part(with_part(KIT_1, hose("H-1", 34.9)), relieved(34.9))
    verdict = judge_kit(replace(weak, graduation_mpa=2.0), replace(JOINT, target_torque_nm=4686))
    assert verdict.gauge_setting is not None
    assert verdict.gauge_setting.pressure_mpa == 34.0


def test_a_10000_psi_hose_on_a_700_bar_pump_stops_the_kit() -> None:
    verdict = judge_kit(with_part(KIT_1, hose("H-1", PSI_10_000)), JOINT)
    assert codes(verdict) == ["relief-above-rating"]
    # What it can give is then counted at the hose's 68.948 MPa: 9400 · 68.948 / 70.
    assert verdict.available_nm == pytest.approx(9258.7, abs=0.1)


def test_what_a_kit_can_give_is_read_at_the_relief_setting_when_that_is_lower() -> None:
    verdict = judge_kit(with_part(KIT_1, relieved(56.0)), JOINT)
    assert verdict.available_nm == pytest.approx(7520)
    assert verdict.available is not None
    assert verdict.available.pressure_mpa == 56.0
    assert verdict.covered is CoverState.TIGHT
    assert codes(verdict, Severity.NOTE) == ["tight"]
    assert "larger wrench, never more pressure" in sentence(verdict, "tight")


def test_a_kit_that_cannot_loosen_the_nut_is_a_hard_stop_even_though_it_can_tighten_it() -> None:
    verdict = judge_kit(KIT_1, replace(JOINT, loosening_factor=2.5))
    assert codes(verdict) == ["not-covered"]
    assert verdict.covered is CoverState.NOT_COVERED
    assert verdict.need.governs is Governs.LOOSENING
    assert verdict.tightening is not None
    assert verdict.tightening.state is CoverState.COVERED
    assert verdict.loosening is not None
    assert verdict.loosening.state is CoverState.NOT_COVERED
    assert sentence(verdict, "not-covered") == (
        "Loosening: The kit can give 9,400 N·m and the joint needs 11,750 N·m: "
        "take a larger wrench, never more pressure."
    )


def test_nothing_above_the_chart_is_counted() -> None:
    short = make_chart(CHART.points[:4], "short sheet")
    verdict = judge_kit(replace(KIT_1, chart=short), JOINT)
    assert verdict.available_nm == pytest.approx(9400 * 0.6)
    assert codes(verdict) == ["not-covered"]
    assert "ends at 42 MPa (420 bar)" in sentence(verdict, "clipped-to-chart")


def test_a_target_off_the_chart_is_a_hard_stop_with_the_range() -> None:
    for target in (900, 9500):
        verdict = judge_kit(KIT_1, replace(JOINT, target_torque_nm=target, loosening_factor=0.75))
        assert "target-off-chart" in codes(verdict)
        assert "940 N·m to 9,400 N·m" in sentence(verdict, "target-off-chart")
        assert verdict.set_pressure is None


def test_a_kit_weaker_than_the_lowest_charted_point_has_no_cover() -> None:
    weak = with_part(with_part(KIT_1, hose("H-1", 5.0)), relieved(5.0, 5.0))
    verdict = judge_kit(weak, JOINT)
    assert "limit-below-chart" in codes(verdict)
    assert verdict.covered is CoverState.NOT_COVERED
    assert verdict.margin_percent is None


def test_a_set_pressure_above_the_weakest_part_is_a_hard_stop() -> None:
    weak = with_part(with_part(KIT_1, hose("H-1", 30.0)), relieved(30.0))
    verdict = judge_kit(weak, JOINT)
    assert {"set-above-rating", "set-above-relief", "not-covered"} == set(codes(verdict))
    assert "H-1 limits the advance line to 30 MPa (300 bar)" in sentence(verdict, "set-above-rating")
    assert verdict.gauge_setting is None


def test_a_set_pressure_above_the_relief_valve_alone_is_a_hard_stop() -> None:
    verdict = judge_kit(with_part(KIT_1, relieved(30.0)), JOINT)
    assert set(codes(verdict)) == {"set-above-relief", "not-covered"}
    assert "the relief valve of P-1 opens at 30 MPa (300 bar)" in sentence(verdict, "set-above-relief")


def test_a_wrench_without_a_chart_is_a_hard_stop() -> None:
    verdict = judge_kit(replace(KIT_1, chart=None), JOINT)
    assert codes(verdict) == ["no-chart"]
    assert (verdict.available, verdict.set_pressure, verdict.margin_percent) == (None, None, None)
    assert verdict.covered is CoverState.NOT_COVERED


def test_a_chart_of_one_rated_point_is_noted_as_approximate() -> None:
    verdict = judge_kit(replace(KIT_1, chart=make_chart([ChartPoint(70, 9400)], "plate")), JOINT)
    assert codes(verdict) == []
    assert codes(verdict, Severity.NOTE) == ["chart-approximate"]
    assert verdict.available is not None
    assert verdict.available.approximate


def test_a_rating_nobody_wrote_down_leaves_the_kit_uncovered() -> None:
    verdict = judge_kit(with_part(KIT_1, hose("H-1", None)), JOINT)
    assert set(codes(verdict)) == {"rating-unknown"}
    assert verdict.covered is CoverState.NOT_COVERED
    assert verdict.available is None


@pytest.mark.parametrize(
    ("socket", "code"),
    [
        (None, "no-socket"),
        (replace(SOCKET, drive_mm=INCH), "socket-does-not-fit"),
        (replace(SOCKET, across_flats_mm=2.25 * INCH), "socket-does-not-fit"),
        (replace(SOCKET, across_flats_mm=60.0), "socket-does-not-fit"),
        (replace(SOCKET, drive_mm=None), "socket-unknown"),
        (replace(SOCKET, across_flats_mm=None), "socket-unknown"),
    ],
)
def test_a_socket_that_is_wrong_or_missing_is_a_hard_stop(socket: SocketFacts | None, code: str) -> None:
    assert codes(judge_kit(replace(KIT_1, socket=socket), JOINT), Severity.HARD) == [code]


def test_a_socket_within_three_tenths_of_a_millimetre_fits() -> None:
    near = replace(SOCKET, across_flats_mm=2.375 * INCH + 0.29, drive_mm=38.0)
    assert judge_kit(replace(KIT_1, socket=near), JOINT).findings == ()


def test_a_nut_nobody_measured_is_a_soft_stop() -> None:
    for kit in (KIT_1, LINK_KIT):
        assert codes(judge_kit(kit, replace(JOINT, across_flats_mm=None))) == ["across-flats-unknown"]


@pytest.mark.parametrize(("nut_mm", "fits"), [(46, True), (60.3, True), (45.6, False), (65, False)])
def test_a_link_takes_the_nuts_within_its_hexagons_and_needs_no_socket(nut_mm: float, *, fits: bool) -> None:
    verdict = judge_kit(LINK_KIT, replace(JOINT, across_flats_mm=nut_mm))
    assert (codes(verdict) == []) is fits
    if not fits:
        assert codes(verdict, Severity.HARD) == ["link-does-not-fit"]


def test_a_wrench_with_neither_square_nor_link_on_record_is_a_hard_stop() -> None:
    assert codes(judge_kit(replace(KIT_1, drive_mm=None), JOINT)) == ["drive-unknown"]


def test_the_gravest_findings_come_first() -> None:
    kit = replace(with_part(KIT_1, hose("H-1", burst=2.0)), graduation_mpa=None, socket=None)
    severities = [finding.severity for finding in judge_kit(kit, JOINT).findings]
    assert severities == [Severity.HARD, Severity.SOFT, Severity.NOTE]


def test_an_empty_kit_is_stopped_and_not_an_error() -> None:
    verdict = judge_kit(KitFacts((), None), JOINT)
    assert verdict.stopped
    assert verdict.covered is CoverState.NOT_COVERED


def test_a_gauge_below_the_set_pressure_is_a_hard_stop() -> None:
    classed = replace(KIT_1, gauge_accuracy=read_accuracy("1.6"))
    for kit in (KIT_1, classed):
        short = with_part(kit, replace(GAUGE, gauge_range_mpa=25.0))
        assert codes(judge_kit(short, JOINT)) == ["gauge-range-too-low"]


def test_a_joint_without_a_reason_for_its_factor_is_refused() -> None:
    with pytest.raises(Unreadable, match="reason in words"):
        judge_kit(KIT_1, replace(JOINT, loosening_reason=""))


@given(
    st.floats(min_value=950, max_value=9300),
    st.floats(min_value=0.5, max_value=5),
    st.floats(min_value=8, max_value=70),
)
def test_no_kit_is_passed_that_could_not_do_both_within_its_pressure(
    target: float, factor: float, highest: float
) -> None:
    kit = with_part(with_part(KIT_1, hose("H-1", highest)), relieved(highest, min(10.0, highest)))
    joint = replace(JOINT, target_torque_nm=target, loosening_factor=factor, tolerance_percent=None)
    verdict = judge_kit(kit, joint)
    can_give = 9400 / 70 * highest
    if not verdict.stopped:
        assert max(target, factor * target) <= can_give * (1 + 1e-6)
    assume(max(target, factor * target) > can_give * 1.001)
    assert "not-covered" in codes(verdict)


def test_the_retract_line_does_not_touch_what_the_kit_can_give() -> None:
    low = with_part(KIT_1, replace(KIT[2], mwp_mpa={Line.ADVANCE: 70.0, Line.RETRACT: 12.0}))
    assert judge_kit(low, JOINT).available_nm == pytest.approx(9400)


def test_a_finding_shows_the_figures_that_stand_beside_it() -> None:
    units = Units("psi", "lbf·ft")
    weak = with_part(with_part(replace(KIT_1, units=units), hose("H-1", 30.0)), relieved(30.0))
    verdict = judge_kit(weak, JOINT)
    assert verdict.set_pressure is not None
    said = sentence(verdict, "set-above-rating")
    assert units.setting(verdict.set_pressure.pressure_mpa) in said
    # 30 MPa is 4,351.1 psi (NIST SP 811), and 1.5 × 4,700 N·m is 5,199.8 lbf·ft.
    assert "H-1 limits the advance line to 4,351 psi" in said
    assert "the joint needs 5,200 lbf·ft" in sentence(verdict, "not-covered")
