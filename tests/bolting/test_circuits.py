"""Kits put together on paper before anybody puts them under pressure."""

from dataclasses import replace
from itertools import permutations
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.circuits import End, Half, Kind, Line, Part, Port, check_circuit
from tests.bolting.kits import (
    FEMALE,
    GAUGE,
    KIT,
    MALE,
    PUMP,
    WRENCH,
    A,
    R,
    adapter,
    both,
    codes,
    hose,
    port,
    sentence,
    swap,
)


def test_a_sound_kit_has_nothing_against_it() -> None:
    circuit = check_circuit(KIT)
    assert circuit.findings == ()
    assert circuit.sound
    assert circuit.order == ("P-1", "H-1", "W-1", "G-1")
    assert len(circuit.connections) == 5
    assert all(connection.fits for connection in circuit.connections)
    assert circuit.ratings[A].working_mpa == 70.0
    assert circuit.ratings[R].highest_mpa == 10.0


def test_the_order_in_which_parts_are_scanned_does_not_matter() -> None:
    far = hose("H-2", series="U")
    kit = (
        PUMP,
        adapter("C-1", A, ("T", MALE), ("U", FEMALE)),
        adapter("C-2", R, ("T", FEMALE), ("U", MALE)),
        far,
        replace(WRENCH, ports=(port(A, End.PUMP, MALE, series="U"), port(R, End.PUMP, FEMALE, series="U"))),
        GAUGE,
    )
    for scanned in permutations(kit):
        circuit = check_circuit(scanned)
        assert circuit.findings == ()
        assert circuit.order.index("H-2") > circuit.order.index("C-1")


def test_two_hoses_in_series_fit() -> None:
    circuit = check_circuit((*KIT, hose("H-2")))
    assert circuit.sound
    assert len(circuit.connections) == 7


def test_a_kit_that_cannot_fit_is_reported_in_the_order_given() -> None:
    circuit = check_circuit((GAUGE, WRENCH, hose("H-1", series="X"), PUMP))
    assert circuit.order == ("P-1", "H-1", "W-1", "G-1")
    assert codes(circuit) == ["misfit"] * 4
    bad = next(connection for connection in circuit.connections if not connection.fits)
    assert bad.reason == (
        "P-1 to H-1 on the advance line: female T 1/4 and male X 1/4 do not fit, "
        "the series differs (T and X)."
    )


def test_hoses_that_fit_nowhere_stay_as_they_were_scanned() -> None:
    circuit = check_circuit((PUMP, hose("H-2", series="X"), hose("H-1", series="X"), WRENCH, GAUGE))
    assert circuit.order == ("P-1", "H-2", "H-1", "W-1", "G-1")


def test_one_wrong_coupling_in_a_scrambled_kit_is_the_only_one_reported() -> None:
    odd = replace(WRENCH, ports=(port(A, End.PUMP, MALE, series="X"), port(R, End.PUMP, FEMALE)))
    circuit = check_circuit((odd, hose("H-2"), GAUGE, hose("H-1"), PUMP))
    assert codes(circuit) == ["misfit"]


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (Port(A, End.PUMP, "T", "3/8", MALE, 70.0), "the size differs"),
        (Port(A, End.PUMP, "T", "1/4", FEMALE, 70.0), "both halves are female"),
        (Port(A, End.PUMP, "", "1/4", MALE, 70.0), "a series is not on record"),
        (Port(A, End.PUMP, "T", " ", MALE, 70.0), "a size is not on record"),
    ],
)
def test_a_coupling_that_does_not_fit_is_a_hard_stop(wrong: Port, words: str) -> None:
    circuit = check_circuit(swap(KIT, replace(WRENCH, ports=(wrong, WRENCH.ports[1]))))
    assert codes(circuit) == ["misfit"]
    assert words in sentence(circuit, "misfit")


@pytest.mark.parametrize("label", ["P-1", "H-1", "W-1", "G-1"])
def test_a_kit_without_one_of_its_parts_is_stopped(label: str) -> None:
    assert not check_circuit([part for part in KIT if part.label != label]).sound


def test_a_kit_without_a_gauge_says_what_cannot_be_seen() -> None:
    circuit = check_circuit(KIT[:3])
    assert codes(circuit) == ["no-gauge", "free-end"]
    assert "the set pressure cannot be seen" in sentence(circuit, "no-gauge")


def test_an_empty_kit_is_stopped() -> None:
    circuit = check_circuit([])
    assert {"not-one-pump", "not-one-wrench", "no-gauge", "missing-part"} <= set(codes(circuit))


def test_a_pump_screwed_straight_to_the_wrench_is_not_a_kit() -> None:
    circuit = check_circuit((PUMP, WRENCH, GAUGE))
    assert codes(circuit) == ["missing-part", "missing-part"]
    assert all(connection.fits for connection in circuit.connections)


def test_a_kit_with_two_pumps_or_the_same_hose_twice_is_stopped() -> None:
    circuit = check_circuit((*KIT, replace(PUMP, label="P-2")))
    assert sentence(circuit, "not-one-pump") == "A kit has one pump, this one has 2."
    assert sentence(check_circuit(KIT[1:]), "not-one-pump") == "A kit has one pump, this one has none."
    assert "listed-twice" in codes(check_circuit((*KIT, hose("H-1"))))


def test_a_single_hose_leaves_the_retract_line_open() -> None:
    single = replace(hose("H-1"), ports=hose("H-1").ports[:2])
    circuit = check_circuit(swap(KIT, single))
    assert codes(circuit) == ["missing-part"]
    assert sentence(circuit, "missing-part") == "No hose is connected to the retract line."


def test_a_hose_with_a_dead_end_is_stopped() -> None:
    dead = replace(hose("H-1"), ports=hose("H-1").ports[:1] + hose("H-1").ports[2:])
    circuit = check_circuit(swap(KIT, dead))
    assert codes(circuit) == ["misfit"]
    assert sentence(circuit, "misfit") == (
        "H-1 to W-1 on the advance line: no free port on record there for H-1."
    )


def test_a_second_outlet_of_the_pump_left_open_is_stopped() -> None:
    two = replace(PUMP, ports=(*PUMP.ports, port(A, End.TOOL, FEMALE)))
    circuit = check_circuit(swap(KIT, two))
    assert codes(circuit) == ["free-end"]
    assert sentence(circuit, "free-end") == "P-1 has an open end on the advance line (female T 1/4)."


def test_an_open_gauge_port_is_a_hard_stop() -> None:
    two = replace(PUMP, ports=(*PUMP.ports, Port(R, End.GAUGE, "N", "1/2", FEMALE, 70.0)))
    assert codes(check_circuit(swap(KIT, two))) == ["free-end"]


def test_a_gauge_with_no_port_to_sit_on_is_stopped() -> None:
    circuit = check_circuit((*KIT, replace(GAUGE, label="G-2")))
    assert codes(circuit) == ["misfit"]
    assert "no free port on record there for P-1" in sentence(circuit, "misfit")


def test_a_socket_in_the_kit_holds_no_oil() -> None:
    socket = Part("S-1", Kind.SOCKET, {}, ())
    assert check_circuit((*KIT, socket)).findings == ()


def test_a_long_chain_in_its_right_order_is_good() -> None:
    assert check_circuit((PUMP, *(hose(f"H-{n}") for n in range(9)), WRENCH, GAUGE)).sound


@given(
    st.lists(st.tuples(st.sampled_from("TU"), st.sampled_from("TU")), min_size=1, max_size=4),
    st.randoms(use_true_random=False),
)
def test_shuffling_the_parts_never_changes_whether_they_fit(
    series: list[tuple[str, str]], shuffler: Random
) -> None:
    kit = [
        PUMP,
        *(_changing(f"H-{n}", near, far) for n, (near, far) in enumerate(series)),
        WRENCH,
        GAUGE,
    ]
    straight = check_circuit(kit).sound
    shuffler.shuffle(kit)
    assert check_circuit(kit).sound is straight


def _changing(label: str, near: str, far: str) -> Part:
    ports = (
        port(A, End.PUMP, MALE, series=near),
        port(A, End.TOOL, FEMALE, series=far),
        port(R, End.PUMP, FEMALE, series=near),
        port(R, End.TOOL, MALE, series=far),
    )
    return Part(label, Kind.HOSE, both(), ports, burst_ratio=4.0)


def test_the_words_for_sides_and_halves_are_stored_as_written() -> None:
    assert [*Line, *End, *Half] == ["advance", "retract", "pump", "tool", "gauge", "male", "female"]
