"""Invented parts for the tests: a sound 700 bar kit, to be spoilt one part at a time."""

from collections.abc import Sequence
from dataclasses import replace

from fleet.bolting.circuits import Circuit, End, Half, Kind, Line, Part, Port
from fleet.bolting.findings import Severity

PSI_10_000 = 68.94757293168


def port(line: Line, end: End, half: Half, mwp_mpa: float | None = 70.0, series: str = "T") -> Port:
    return Port(line, end, series, "1/4", half, mwp_mpa)


def both(mwp_mpa: float | None = 70.0) -> dict[Line, float | None]:
    return {Line.ADVANCE: mwp_mpa, Line.RETRACT: mwp_mpa}


A, R = Line.ADVANCE, Line.RETRACT
MALE, FEMALE = Half.MALE, Half.FEMALE

PUMP = Part(
    "P-1",
    Kind.PUMP,
    both(),
    (
        port(A, End.TOOL, FEMALE),
        port(R, End.TOOL, MALE),
        Port(A, End.GAUGE, "N", "1/2", FEMALE, 70.0),
    ),
    relief_mpa={A: 70.0, R: 10.0},
)
GAUGE = Part(
    "G-1", Kind.GAUGE, {A: 75.0}, (Port(A, End.PUMP, "N", "1/2", MALE, 75.0),), gauge_range_mpa=100.0
)
WRENCH = Part("W-1", Kind.WRENCH, both(), (port(A, End.PUMP, MALE), port(R, End.PUMP, FEMALE)))


def hose(label: str, mwp_mpa: float | None = 70.0, series: str = "T", burst: float | None = 4.0) -> Part:
    """A twin-line hose with one series on all four ends."""
    ports = (
        port(A, End.PUMP, MALE, mwp_mpa, series),
        port(A, End.TOOL, FEMALE, mwp_mpa, series),
        port(R, End.PUMP, FEMALE, mwp_mpa, series),
        port(R, End.TOOL, MALE, mwp_mpa, series),
    )
    return Part(label, Kind.HOSE, both(mwp_mpa), ports, burst_ratio=burst)


def adapter(label: str, line: Line, near: tuple[str, Half], far: tuple[str, Half]) -> Part:
    """A coupler on one line, from one series to another."""
    ports = (
        port(line, End.PUMP, near[1], series=near[0]),
        port(line, End.TOOL, far[1], series=far[0]),
    )
    return Part(label, Kind.COUPLER, {line: 70.0}, ports)


def relieved(advance: float | None, retract: float | None = 10.0) -> Part:
    return replace(PUMP, relief_mpa={A: advance, R: retract})


KIT = (PUMP, hose("H-1"), WRENCH, GAUGE)


def codes(circuit: Circuit, severity: Severity = Severity.HARD) -> list[str]:
    return [finding.code for finding in circuit.findings if finding.severity is severity]


def sentence(circuit: Circuit, code: str) -> str:
    return next(finding.sentence for finding in circuit.findings if finding.code == code)


def swap(parts: Sequence[Part], new: Part) -> tuple[Part, ...]:
    return tuple(new if part.label == new.label else part for part in parts)
