"""The pieces of a hydraulic circuit as their plates describe them: lines, ports, ratings."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Kind(StrEnum):
    """What a piece of equipment is."""

    WRENCH = "wrench"
    PUMP = "pump"
    HOSE = "hose"
    COUPLER = "coupler"
    GAUGE = "gauge"
    SOCKET = "socket"


class Line(StrEnum):
    """The two lines of a double-acting wrench."""

    ADVANCE = "advance"
    RETRACT = "retract"


class End(StrEnum):
    """What a port faces, seen from its own part."""

    PUMP = "pump"
    TOOL = "tool"
    GAUGE = "gauge"


class Half(StrEnum):
    """The half of a coupling that a port carries."""

    MALE = "male"
    FEMALE = "female"


@dataclass(frozen=True, slots=True)
class Port:
    """One port: the line it is on, the side it faces, and its half of a coupling."""

    line: Line
    end: End
    series: str
    size: str
    half: Half
    mwp_mpa: float | None
    """Maximum working pressure of this port; None when it is not on record, which counts as a stop."""
    flush_face: bool = False

    def __str__(self) -> str:
        """Describe the half of the coupling: ``male A 3/8``."""
        return f"{self.half} {self.series or 'unknown series'} {self.size or 'unknown size'}"


@dataclass(frozen=True, slots=True)
class Part:
    """One piece of a kit; what is not on record is None or left out, and counts as a stop."""

    label: str
    kind: Kind
    mwp_mpa: Mapping[Line, float | None]
    """Maximum working pressure of each line."""
    ports: tuple[Port, ...]
    relief_mpa: Mapping[Line, float | None] = field(default_factory=dict)
    """Pumps: the relief setting of each line."""
    gauge_range_mpa: float | None = None
    """Gauges: the upper end of the scale, which starts at zero."""
    burst_ratio: float | None = None
    """Hoses: burst pressure over maximum working pressure."""

    def at(self, line: Line, end: End) -> Port | None:
        """Give the port on ``line`` that faces ``end``."""
        return next((port for port in self.ports if port.line is line and port.end is end), None)

    def on(self, line: Line) -> bool:
        """Whether oil of ``line`` runs through or into this part."""
        return any(port.line is line for port in self.ports)
