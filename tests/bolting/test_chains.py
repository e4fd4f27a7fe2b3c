"""How the parts hang together: who meets whom, and the order with the fewest misfits."""

from dataclasses import replace

import pytest

from fleet.bolting.chains import MOST_REARRANGED, arrange, connections, gauge_connections, misfit
from fleet.bolting.circuits import Circuit, End, Kind, Part, Port, check_circuit
from tests.bolting.kits import FEMALE, GAUGE, KIT, MALE, PUMP, WRENCH, A, R, both, hose, port


def ported(part: Part, *ports: Port) -> Part:
    return replace(part, ports=ports)


def joints(circuit: Circuit) -> list[tuple[str, str, str]]:
    return [(one.line, one.from_label, one.to_label) for one in circuit.connections]


def test_each_part_meets_the_next_on_each_line_and_the_gauge_the_pump() -> None:
    assert joints(check_circuit(KIT)) == [
        ("advance", "P-1", "H-1"),
        ("advance", "H-1", "W-1"),
        ("retract", "P-1", "H-1"),
        ("retract", "H-1", "W-1"),
        ("advance", "P-1", "G-1"),
    ]
    first = check_circuit(KIT).connections[0]
    assert first.reason == "P-1 to H-1 on the advance line: female T 1/4 and male T 1/4 fit."
    assert (first.from_port, first.to_port) == (PUMP.ports[0], hose("H-1").ports[0])


@pytest.mark.parametrize(
    ("near", "far", "bare"),
    [(True, False, "H-1"), (False, True, "W-1"), (True, True, "H-1 and W-1")],
)
def test_a_part_without_a_port_at_the_meeting_is_named(near: bool, far: bool, bare: str) -> None:
    ports = hose("H-1").ports
    short = ported(
        hose("H-1"), *(one for one in ports if not (near and (one.line, one.end) == (A, End.TOOL)))
    )
    turned = ported(WRENCH, port(A, End.TOOL, MALE), WRENCH.ports[1]) if far else WRENCH
    (first, second, *_) = connections((PUMP, short, turned))
    assert first.fits
    assert not second.fits
    assert second.reason == f"H-1 to W-1 on the advance line: no free port on record there for {bare}."
    assert (second.from_port is None, second.to_port is None) == (near, far)


def test_a_gauge_without_ports_is_looked_for_on_the_advance_line() -> None:
    (joint,) = gauge_connections(PUMP, [ported(GAUGE)])
    assert (joint.line, joint.fits) == (A, False)
    assert joint.reason == "P-1 to G-1 on the advance line: no free port on record there for G-1."
    (nowhere,) = gauge_connections(ported(PUMP), [ported(GAUGE)])
    assert nowhere.reason.endswith("there for P-1 and G-1.")


def test_names_of_couplings_are_compared_as_people_write_them() -> None:
    one = Port(A, End.TOOL, "T ", "1/4", FEMALE, 70.0)
    assert misfit(one, Port(A, End.PUMP, "t", " 1/4", MALE, 70.0)) == ""
    assert misfit(one, replace(one, series="", half=MALE)) == "a series is not on record"
    assert misfit(replace(one, series=" "), replace(one, half=MALE)) == "a series is not on record"


def changing(label: str, near: str, far: str) -> Part:
    ports = (
        port(A, End.PUMP, MALE, series=near),
        port(A, End.TOOL, FEMALE, series=far),
        port(R, End.PUMP, FEMALE, series=near),
        port(R, End.TOOL, MALE, series=far),
    )
    return Part(label, Kind.HOSE, both(), ports, burst_ratio=4.0)


def ladder(length: int) -> tuple[Part, ...]:
    """A pump, hoses that fit in one order only, and a wrench for the last."""
    series = ["T", *(f"S{number}" for number in range(1, length + 1))]
    hoses = [changing(f"H-{n}", series[n - 1], series[n]) for n in range(1, length + 1)]
    last = (port(A, End.PUMP, MALE, series=series[-1]), port(R, End.PUMP, FEMALE, series=series[-1]))
    return (PUMP, *hoses, ported(WRENCH, *last))


def test_a_scrambled_chain_of_six_is_put_right_and_a_longer_one_is_taken_as_given() -> None:
    for length in (2, 3, MOST_REARRANGED):
        pump, *hoses, wrench = ladder(length)
        assert arrange((wrench, *reversed(hoses), pump)) == ladder(length)
    pump, *hoses, wrench = ladder(MOST_REARRANGED + 1)
    assert arrange((wrench, *reversed(hoses), pump)) == (pump, *reversed(hoses), wrench)


def test_where_nothing_fits_whole_the_order_with_the_fewest_misfits_wins() -> None:
    """Three hoses; the one from a strange series can only stand last, beside the wrench it does not fit."""
    odd = changing("H-9", "S2", "Z")
    pump, first, second, _ = ladder(2)
    wrench = WRENCH
    assert [part.label for part in arrange((odd, second, first, wrench, pump))] == [
        "P-1", "H-1", "H-2", "H-9", "W-1",
    ]  # fmt: skip


def test_the_better_of_two_bad_orders_is_taken() -> None:
    """Neither hose fits pump or wrench; one way round they fit each other: four bad joints, not six."""
    one, other = changing("H-1", "S", "Q"), changing("H-2", "Q", "Z")
    assert [part.label for part in arrange((PUMP, other, one, WRENCH))] == ["P-1", "H-1", "H-2", "W-1"]


def test_a_hose_with_dead_ends_is_put_where_it_breaks_the_fewest_joints() -> None:
    """First, its dead ends and the strange wrench make four bad joints; last, they are the same two."""
    dead = ported(hose("H-1"), hose("H-1").ports[0], hose("H-1").ports[2])
    strange = ported(WRENCH, port(A, End.PUMP, MALE, series="X"), port(R, End.PUMP, FEMALE, series="X"))
    order = [part.label for part in arrange((PUMP, dead, hose("H-2"), strange))]
    assert order == ["P-1", "H-2", "H-1", "W-1"]


def test_gauges_and_sockets_are_no_part_of_the_chain() -> None:
    assert arrange((GAUGE, Part("S-1", Kind.SOCKET, {}, ()), *KIT)) == (PUMP, hose("H-1"), WRENCH)
    assert arrange(()) == ()
