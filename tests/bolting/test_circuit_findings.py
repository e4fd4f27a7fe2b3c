"""What stands against a circuit: how grave, about which part, and in a whole sentence."""

from dataclasses import replace

import pytest

from fleet.bolting.circuits import End, Kind, Part, Port, check_circuit
from fleet.bolting.figures import Units
from fleet.bolting.findings import Finding, Severity
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
    both,
    hose,
    port,
    relieved,
    swap,
)

BAR = Units("bar", "N·m")
HARD, SOFT, NOTE = Severity


def ported(part: Part, *ports: Port) -> Part:
    return replace(part, ports=ports)


def flush(part: Part) -> Part:
    return ported(part, *(replace(one, flush_face=True, mwp_mpa=70.0) for one in part.ports))


FAULTS: dict[str, tuple[tuple[Part, ...], Finding]] = {
    "listed twice": (
        (*KIT, hose("H-1")),
        Finding(HARD, "listed-twice", "H-1 is in the kit twice: list each piece once.", "H-1"),
    ),
    "no pump": (KIT[1:], Finding(HARD, "not-one-pump", "A kit has one pump, this one has none.")),
    "two wrenches": (
        (*KIT, replace(WRENCH, label="W-2")),
        Finding(HARD, "not-one-wrench", "A kit has one wrench, this one has 2."),
    ),
    "no gauge": (
        KIT[:3],
        Finding(
            HARD,
            "no-gauge",
            "The kit has no gauge on the advance line, so the set pressure cannot be seen.",
        ),
    ),
    "no hose": (
        (PUMP, WRENCH, GAUGE),
        Finding(HARD, "missing-part", "No hose is connected to the advance line."),
    ),
    "misfit": (
        swap(KIT, ported(WRENCH, port(A, End.PUMP, MALE, series="X"), WRENCH.ports[1])),
        Finding(
            HARD,
            "misfit",
            "H-1 to W-1 on the advance line: female T 1/4 and male X 1/4 do not fit, the series differs "
            "(T and X).",
            "W-1",
        ),
    ),
    "misfit twice over": (
        swap(KIT, ported(WRENCH, Port(A, End.PUMP, "X", "3/8", FEMALE, 70.0), WRENCH.ports[1])),
        Finding(
            HARD,
            "misfit",
            "H-1 to W-1 on the advance line: female T 1/4 and female X 3/8 do not fit, the series differs "
            "(T and X) and the size differs (1/4 and 3/8) and both halves are female.",
            "W-1",
        ),
    ),
    "a port without its names": (
        swap(KIT, ported(WRENCH, Port(A, End.PUMP, "", " ", MALE, 70.0), WRENCH.ports[1])),
        Finding(
            HARD,
            "misfit",
            "H-1 to W-1 on the advance line: female T 1/4 and male unknown series   do not fit, "
            "a series is not on record and a size is not on record.",
            "W-1",
        ),
    ),
    "open end": (
        swap(KIT, ported(PUMP, *PUMP.ports, port(R, End.TOOL, MALE))),
        Finding(HARD, "free-end", "P-1 has an open end on the retract line (male T 1/4).", "P-1"),
    ),
    "no rating": (
        swap(KIT, replace(WRENCH, mwp_mpa={A: None, R: 70.0})),
        Finding(
            HARD,
            "rating-unknown",
            "The maximum working pressure of W-1 on the advance line is not on record.",
            "W-1",
        ),
    ),
    "no rating of a port": (
        swap(KIT, ported(WRENCH, port(A, End.PUMP, MALE, None), WRENCH.ports[1])),
        Finding(
            HARD,
            "rating-unknown",
            "The maximum working pressure of the pump end of W-1 on the advance line (male T 1/4) is not on "
            "record.",
            "W-1",
        ),
    ),
    "no relief": (
        swap(KIT, relieved(None)),
        Finding(
            HARD,
            "relief-unknown",
            "The relief setting of P-1 on the advance line is not on record.",
            "P-1",
        ),
    ),
    "10,000 psi": (
        swap(KIT, hose("H-1", PSI_10_000)),
        Finding(
            HARD,
            "relief-above-rating",
            "P-1 can put 700 bar on the advance line, which H-1 limits to 689.4 bar: 1.5 % too much. "
            "10,000 psi is 689.5 bar, not 700 bar: the two differ by 1.5 %, so lower the relief setting, "
            "or use a part whose plate says 700 bar.",
            "H-1",
        ),
    ),
    "too weak": (
        swap(KIT, hose("H-1", 50.0)),
        Finding(
            HARD,
            "relief-above-rating",
            "P-1 can put 700 bar on the advance line, which H-1 limits to 500 bar: 40.0 % too much.",
            "H-1",
        ),
    ),
    "flush face": (
        swap(KIT, flush(WRENCH)),
        Finding(
            HARD,
            "flush-face",
            "W-1 has a flush-face coupling on the advance line; ISO 16028 rates those to 315 bar at most, "
            "and the relief valve is set to 700 bar.",
            "W-1",
        ),
    ),
    "burst ratio unknown": (
        swap(KIT, hose("H-1", burst=None)),
        Finding(NOTE, "burst-ratio", "The burst ratio of H-1 is not on record.", "H-1"),
    ),
    "burst ratio low": (
        swap(KIT, hose("H-1", burst=2.5)),
        Finding(
            NOTE,
            "burst-ratio",
            "H-1 bursts at 2.5 times its working pressure; usual is 4 (ISO 7751).",
            "H-1",
        ),
    ),
    "gauge without a range": (
        swap(KIT, replace(GAUGE, gauge_range_mpa=None)),
        Finding(HARD, "gauge-range-unknown", "The range of gauge G-1 is not on record.", "G-1"),
    ),
    "gauge too small": (
        swap(KIT, replace(GAUGE, gauge_range_mpa=60.0)),
        Finding(
            HARD, "gauge-range-too-low", "Gauge G-1 ends at 600 bar, but 700 bar can stand on it.", "G-1"
        ),
    ),
    "gauge at its end": (
        swap(KIT, replace(GAUGE, gauge_range_mpa=80.0)),
        Finding(
            NOTE,
            "gauge-range-band",
            "Gauge G-1 is read at 88 % of its range; it works best between 25 % and 75 %.",
            "G-1",
        ),
    ),
}


def found(parts: tuple[Part, ...], code: str) -> list[Finding]:
    return [one for one in check_circuit(parts, units=BAR).findings if one.code == code]


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_said_whole_and_laid_to_its_part(fault: str) -> None:
    parts, expected = FAULTS[fault]
    assert expected in found(parts, expected.code)
    assert check_circuit(parts).sound is all(one.severity is NOTE for one in check_circuit(parts).findings)


def test_a_flush_face_is_rated_to_its_standard_whatever_its_mark() -> None:
    circuit = check_circuit(swap(KIT, flush(WRENCH)))
    assert (circuit.ratings[A].working_mpa, circuit.ratings[A].limited_by) == (31.5, "W-1")
    low = swap(swap(KIT, flush(WRENCH)), relieved(31.5, 10.0))
    assert check_circuit(low).sound
    weak = ported(WRENCH, *(replace(one, flush_face=True, mwp_mpa=25.0) for one in WRENCH.ports))
    assert check_circuit(swap(KIT, weak)).ratings[A].working_mpa == 25.0


def test_of_two_alike_the_first_limits_the_line_and_one_unknown_leaves_it_unknown() -> None:
    circuit = check_circuit(KIT)
    assert (circuit.ratings[A].limited_by, circuit.ratings[A].relief_mpa) == ("P-1", 70.0)
    assert (circuit.ratings[A].line, circuit.ratings[R].line) == (A, R)
    unknown = check_circuit(swap(swap(KIT, hose("H-1", None)), replace(WRENCH, mwp_mpa=both(None))))
    assert (unknown.ratings[A].working_mpa, unknown.ratings[A].limited_by) == (None, "H-1")
    assert unknown.ratings[A].highest_mpa is None
    no_pump = check_circuit(KIT[1:])
    assert (no_pump.ratings[A].relief_mpa, no_pump.ratings[A].highest_mpa) == (None, None)
    assert found(KIT[1:], "relief-unknown") == []


@pytest.mark.parametrize(
    ("relief", "highest"), [(60.0, 60.0), (70.0, 70.0), (80.0, 70.0), (None, None), (0.0, None), (-5.0, None)]
)
def test_a_line_carries_the_lower_of_rating_and_relief(relief: float | None, highest: float | None) -> None:
    assert check_circuit(swap(KIT, relieved(relief))).ratings[A].highest_mpa == highest


@pytest.mark.parametrize(
    ("rating", "told"),
    [(PSI_10_000, True), (68.94, True), (68.95, True), (68.96, False), (68.9, False), (69.9, False)],
)
def test_only_ten_thousand_psi_however_rounded_is_told_from_700_bar(rating: float, told: bool) -> None:
    (finding,) = found(swap(KIT, hose("H-1", rating)), "relief-above-rating")
    assert ("10,000 psi is 689.5 bar, not 700 bar" in finding.sentence) is told


def test_a_relief_setting_far_too_high_is_given_in_whole_percents_of_the_rating() -> None:
    """70 MPa on 40 MPa is 75 % too much."""
    (finding,) = found(swap(KIT, hose("H-1", 40.0)), "relief-above-rating")
    assert "limits to 400 bar: 75.0 % too much." in finding.sentence


def test_a_relief_setting_is_held_against_each_part_of_its_own_line_only() -> None:
    weak_return = replace(WRENCH, mwp_mpa={A: 70.0, R: 9.0})
    (finding,) = found(swap(KIT, weak_return), "relief-above-rating")
    assert "on the retract line, which W-1 limits to 90 bar: 11.1 % too much." in finding.sentence


# Read at the set pressure on the advance line, at the relief setting on the other.
@pytest.mark.parametrize(
    ("range_mpa", "set_mpa", "share"),
    [(100.0, 25.0, None), (100.0, 24.0, 24), (100.0, 70.0, None), (140.0, 30.0, 21), (92.0, 69.5, 76)],
)
def test_the_gauge_is_read_at_the_set_pressure(range_mpa: float, set_mpa: float, share: int | None) -> None:
    kit = swap(KIT, replace(GAUGE, gauge_range_mpa=range_mpa))
    notes = [one.sentence for one in check_circuit(kit, set_mpa, BAR).findings]
    told = f"Gauge G-1 is read at {share} % of its range; it works best between 25 % and 75 %."
    assert notes == ([told] if share else [])


def test_a_gauge_on_the_retract_line_is_read_at_that_lines_relief() -> None:
    outlet = ported(PUMP, *PUMP.ports, Port(R, End.GAUGE, "N", "1/2", FEMALE, 70.0))
    second = Part(
        "G-2", Kind.GAUGE, {R: 70.0}, (Port(R, End.PUMP, "N", "1/2", MALE, 70.0),), gauge_range_mpa=20.0
    )
    kit = (outlet, *KIT[1:], second)
    circuit = check_circuit(kit, 35.0)
    assert circuit.findings == ()
    assert circuit.order == ("P-1", "H-1", "W-1", "G-1", "G-2")
    small = (*kit[:-1], replace(second, gauge_range_mpa=9.0))
    assert [(one.code, one.about) for one in check_circuit(small, 35.0).findings] == [
        ("gauge-range-too-low", "G-2")
    ]


def test_a_gauge_is_not_read_at_a_pressure_nobody_knows() -> None:
    kit = swap(KIT, relieved(None))
    assert [one.code for one in check_circuit(kit).findings] == ["relief-unknown"]


def test_a_kit_on_the_advance_line_alone_is_asked_for_nothing_on_the_other() -> None:
    def single(part: Part) -> Part:
        return ported(part, *(one for one in part.ports if one.line is A))

    assert check_circuit([single(part) for part in KIT]).findings == ()


def test_a_part_off_the_line_does_not_limit_it() -> None:
    """The gauge is marked for both lines and sits on one."""
    marked = swap(KIT, replace(GAUGE, mwp_mpa={A: 75.0, R: 5.0}))
    assert check_circuit(marked).findings == ()
    assert check_circuit(marked).ratings[R].working_mpa == 70.0
