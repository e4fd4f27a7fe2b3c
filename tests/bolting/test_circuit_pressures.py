"""What each line of a kit may stand, and that nothing weaker ever passes where stronger did not."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.bolting.circuits import End, Line, Part, check_circuit
from fleet.bolting.findings import Severity
from tests.bolting.kits import (
    FEMALE,
    GAUGE,
    KIT,
    MALE,
    PSI_10_000,
    PUMP,
    WRENCH,
    A,
    R,
    codes,
    hose,
    port,
    relieved,
    sentence,
    swap,
)


def test_a_10000_psi_hose_on_a_700_bar_pump_is_refused_for_one_and_a_half_percent() -> None:
    # 10 000 psi = 68.947 573 MPa exactly by definition of the psi (NIST SP 811), 70 / 68.9476 = 1.0153.
    circuit = check_circuit(swap(KIT, hose("H-1", PSI_10_000)))
    assert codes(circuit) == ["relief-above-rating"]
    said = sentence(circuit, "relief-above-rating")
    assert ": 1.5 % too much" in said
    assert "10,000 psi is 689.5 bar, not 700 bar" in said
    assert circuit.ratings[A].working_mpa == PSI_10_000
    assert circuit.ratings[A].limited_by == "H-1"


def test_every_part_too_weak_for_the_pump_is_named_not_only_the_weakest() -> None:
    circuit = check_circuit((*swap(KIT, hose("H-1", 60.0)), hose("H-2", 50.0)))
    about = [finding.about for finding in circuit.findings if finding.code == "relief-above-rating"]
    assert about == ["H-1", "H-2"]
    assert circuit.ratings[A].limited_by == "H-2"


def test_the_same_hose_is_good_once_the_relief_is_set_to_its_rating() -> None:
    kit = swap(swap(KIT, hose("H-1", PSI_10_000)), relieved(68.9))
    assert check_circuit(kit).findings == ()


@given(st.floats(min_value=1, max_value=100), st.floats(min_value=1e-7, max_value=0.5))
def test_any_relief_above_the_lowest_part_is_a_hard_stop(rating: float, over: float) -> None:
    kit = swap(swap(KIT, hose("H-1", rating)), relieved(rating * (1 + over)))
    assert "relief-above-rating" in codes(check_circuit(kit))


@given(st.floats(min_value=1, max_value=70))
def test_a_relief_that_equals_the_rating_but_for_float_noise_is_good(rating: float) -> None:
    kit = swap(swap(KIT, hose("H-1", rating)), relieved(rating * (1 + 1e-13), rating / 2))
    assert codes(check_circuit(kit)) == []


def test_the_weak_port_of_a_strong_part_limits_the_line() -> None:
    weak = replace(PUMP, ports=(port(A, End.TOOL, FEMALE, 35.0), *PUMP.ports[1:]))
    circuit = check_circuit(swap(KIT, weak))
    assert circuit.ratings[A].working_mpa == 35.0
    assert circuit.ratings[A].limited_by == "P-1"
    assert codes(circuit) == ["relief-above-rating"]


def test_the_retract_line_is_judged_apart() -> None:
    low = replace(WRENCH, mwp_mpa={A: 70.0, R: 14.0})
    circuit = check_circuit(swap(KIT, low))
    assert circuit.findings == ()
    assert circuit.ratings[R].working_mpa == 14.0
    assert circuit.ratings[A].working_mpa == 70.0
    circuit = check_circuit(swap(swap(KIT, low), relieved(70.0, 15.0)))
    assert codes(circuit) == ["relief-above-rating"]
    assert "retract line" in sentence(circuit, "relief-above-rating")


@pytest.mark.parametrize("gone", [None, 0.0, -1.0, float("nan"), float("inf")])
def test_a_rating_that_is_not_on_record_is_a_hard_stop(gone: float | None) -> None:
    circuit = check_circuit(swap(KIT, replace(WRENCH, mwp_mpa={A: gone, R: 70.0})))
    assert codes(circuit) == ["rating-unknown"]
    assert circuit.ratings[A].working_mpa is None
    assert circuit.ratings[A].highest_mpa is None
    assert circuit.ratings[A].limited_by == "W-1"
    assert circuit.ratings[R].working_mpa == 70.0


def test_a_line_left_out_of_the_ratings_is_a_hard_stop() -> None:
    assert codes(check_circuit(swap(KIT, replace(WRENCH, mwp_mpa={A: 70.0})))) == ["rating-unknown"]


def test_a_port_without_a_rating_is_a_hard_stop_and_is_named() -> None:
    bare = replace(WRENCH, ports=(port(A, End.PUMP, MALE, None), WRENCH.ports[1]))
    circuit = check_circuit(swap(KIT, bare))
    assert codes(circuit) == ["rating-unknown"]
    assert "the pump end of W-1 on the advance line (male T 1/4)" in sentence(circuit, "rating-unknown")


def test_a_pump_whose_relief_nobody_wrote_down_is_a_hard_stop() -> None:
    circuit = check_circuit(swap(KIT, relieved(None)))
    assert codes(circuit) == ["relief-unknown"]
    assert circuit.ratings[A].highest_mpa is None
    assert codes(check_circuit(swap(KIT, replace(PUMP, relief_mpa={A: 70.0})))) == ["relief-unknown"]


def test_a_flush_face_coupling_fails_a_700_bar_kit_whatever_its_plate_says() -> None:
    # ISO 16028 couplings are rated 20 to 31.5 MPa by size.
    flush = replace(WRENCH.ports[0], flush_face=True, mwp_mpa=70.0)
    circuit = check_circuit(swap(KIT, replace(WRENCH, ports=(flush, WRENCH.ports[1]))))
    assert codes(circuit) == ["flush-face", "relief-above-rating"]
    assert circuit.ratings[A].working_mpa == 31.5


def test_a_flush_face_coupling_may_stay_on_a_low_retract_line() -> None:
    flush = replace(WRENCH.ports[1], flush_face=True, mwp_mpa=31.5)
    assert check_circuit(swap(KIT, replace(WRENCH, ports=(WRENCH.ports[0], flush)))).findings == ()


def test_a_gauge_that_ends_below_what_can_stand_on_it_is_stopped() -> None:
    short = replace(GAUGE, gauge_range_mpa=60.0)
    assert codes(check_circuit(swap(KIT, short))) == ["gauge-range-too-low"]
    assert codes(check_circuit(swap(KIT, replace(GAUGE, gauge_range_mpa=None)))) == ["gauge-range-unknown"]


@pytest.mark.parametrize(
    ("set_pressure", "noted"),
    [(10.0, True), (24.9, True), (25.0, False), (70.0, False), (75.0, False), (75.1, True)],
)
def test_a_gauge_read_outside_its_middle_half_is_noted(set_pressure: float, *, noted: bool) -> None:
    circuit = check_circuit(KIT, set_pressure)
    assert (codes(circuit, Severity.NOTE) == ["gauge-range-band"]) is noted
    assert circuit.sound


def test_the_note_on_a_gauge_says_where_on_its_scale_it_is_read() -> None:
    said = sentence(check_circuit(KIT, 20.0), "gauge-range-band")
    assert said == "Gauge G-1 is read at 20 % of its range; it works best between 25 % and 75 %."


def test_a_set_pressure_above_the_gauge_is_stopped() -> None:
    assert "gauge-range-too-low" in codes(check_circuit(KIT, 101.0))


@pytest.mark.parametrize(("burst", "noted"), [(2.0, True), (3.99, True), (4.0, False), (None, True)])
def test_a_burst_ratio_under_four_is_noted(burst: float | None, *, noted: bool) -> None:
    circuit = check_circuit(swap(KIT, hose("H-1", burst=burst)))
    assert (codes(circuit, Severity.NOTE) == ["burst-ratio"]) is noted
    assert circuit.sound


# --- Weaker never passes where stronger did not -------------------------------------------------------------

pressures = st.floats(min_value=1, max_value=120)
shares = st.floats(min_value=0.05, max_value=1)


@st.composite
def kits(draw: st.DrawFn) -> tuple[Part, ...]:
    """A kit whose every rating is drawn by itself."""

    def rated(part: Part) -> Part:
        ports = tuple(replace(one, mwp_mpa=draw(pressures)) for one in part.ports)
        return replace(part, ports=ports, mwp_mpa={line: draw(pressures) for line in part.mwp_mpa})

    pump = replace(rated(PUMP), relief_mpa={A: draw(pressures), R: draw(pressures)})
    gauge = replace(rated(GAUGE), gauge_range_mpa=draw(pressures))
    return (pump, rated(hose("H-1")), rated(WRENCH), gauge)


def weaker(kit: tuple[Part, ...], which: int, share: float, *, unknown: bool) -> tuple[Part, ...]:
    """The same kit with one of its ratings lowered, or no longer on record."""
    rated = [(part, line) for part in kit for line in part.mwp_mpa]
    ported = [(part, at) for part in kit for at in range(len(part.ports))]
    ranged = [part for part in kit if part.gauge_range_mpa]
    which %= len(rated) + len(ported) + len(ranged)

    def lower(value: float | None) -> float | None:
        return None if unknown or value is None else value * share

    if which < len(rated):
        part, line = rated[which]
        return swap(kit, replace(part, mwp_mpa={**part.mwp_mpa, line: lower(part.mwp_mpa[line])}))
    if which < len(rated) + len(ported):
        part, at = ported[which - len(rated)]
        port = replace(part.ports[at], mwp_mpa=lower(part.ports[at].mwp_mpa))
        return swap(kit, replace(part, ports=(*part.ports[:at], port, *part.ports[at + 1 :])))
    part = ranged[which - len(rated) - len(ported)]
    return swap(kit, replace(part, gauge_range_mpa=lower(part.gauge_range_mpa)))


@settings(max_examples=200)
@given(kits(), st.integers(min_value=0), shares, st.booleans(), st.none() | pressures)
def test_no_kit_gets_better_when_one_of_its_parts_gets_weaker(
    kit: tuple[Part, ...], which: int, share: float, unknown: bool, set_pressure: float | None
) -> None:
    before = check_circuit(kit, set_pressure)
    after = check_circuit(weaker(kit, which, share, unknown=unknown), set_pressure)
    assert before.sound or not after.sound
    assert len(codes(after)) >= len(codes(before)) - unknown
    for line, rating in before.ratings.items():
        limit, lowered = rating.working_mpa, after.ratings[line].working_mpa
        assert limit is not None
        assert lowered is None or lowered <= limit
        assert unknown or lowered is not None


@given(kits(), st.floats(min_value=1, max_value=3), st.sampled_from([A, R]))
def test_no_kit_gets_better_when_the_relief_valve_is_set_higher(
    kit: tuple[Part, ...], factor: float, line: Line
) -> None:
    pump = kit[0]
    relief = pump.relief_mpa[line]
    assert relief is not None
    higher = swap(kit, replace(pump, relief_mpa={**pump.relief_mpa, line: relief * factor}))
    assert check_circuit(kit).sound or not check_circuit(higher).sound


@given(st.floats(min_value=0.5, max_value=8), shares)
def test_a_weaker_hose_is_never_noted_less(burst: float, share: float) -> None:
    before, after = (
        codes(check_circuit(swap(KIT, hose("H-1", burst=ratio))), Severity.NOTE)
        for ratio in (burst, burst * share)
    )
    assert len(after) >= len(before)
