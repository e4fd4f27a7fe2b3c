"""May these parts be put under pressure together: do they fit, and is each rated for what the pump can give.

The maker's stated safe pressures of hoses, fittings and valves are not to be exceeded (29 CFR 1926.302(d)(2),
from memory), so the lowest part rates the line. Hoses burst at four times their working pressure (ISO 7751,
from memory). Flush-face couplings end at 31.5 MPa (ISO 16028). A gauge works between a quarter and three
quarters of its range (from memory). Anything that is not on record counts as a stop.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from fleet.bolting.chains import Connection, arrange, connections, gauge_connections
from fleet.bolting.figures import SI, Units, exceeds, known
from fleet.bolting.findings import Finding, Severity
from fleet.bolting.parts import End, Half, Kind, Line, Part, Port

__all__ = [
    "Circuit",
    "Connection",
    "End",
    "Half",
    "Kind",
    "Line",
    "LineRating",
    "Part",
    "Port",
    "check_circuit",
]

FLUSH_FACE_HIGHEST_MPA = 31.5
"""The highest working pressure of a flush-face coupling: ISO 16028 goes from 20 to 31.5 MPa by size."""

LEAST_BURST_RATIO = 4.0

GAUGE_BAND = (0.25, 0.75)
"""The share of its range in which a gauge is to be read."""

PSI_10_000_MPA = 10_000 * 0.006894757293168

_HARD, _NOTE = Severity.HARD, Severity.NOTE


@dataclass(frozen=True, slots=True)
class LineRating:
    """What one line may carry, and what the pump can put on it; None where something is not on record."""

    line: Line
    working_mpa: float | None
    """The lowest maximum working pressure of all parts and ports on the line."""
    limited_by: str
    """The label of the part that sets it, or of the first part whose rating is not on record."""
    relief_mpa: float | None

    @property
    def highest_mpa(self) -> float | None:
        """The highest pressure that can and may stand on the line: the lower of rating and relief setting."""
        if self.working_mpa is None or self.relief_mpa is None:
            return None
        return min(self.working_mpa, self.relief_mpa)


@dataclass(frozen=True, slots=True)
class Circuit:
    """A kit's chain as it was put together, and what was found."""

    order: tuple[str, ...]
    """Labels from pump to wrench, then the gauges."""
    connections: tuple[Connection, ...]
    ratings: Mapping[Line, LineRating]
    findings: tuple[Finding, ...]

    @property
    def sound(self) -> bool:
        """Whether nothing was found that stops it."""
        return all(finding.severity is Severity.NOTE for finding in self.findings)


def check_circuit(parts: Sequence[Part], set_pressure_mpa: float | None = None, units: Units = SI) -> Circuit:
    """Put the parts together, in whatever order they come, and judge fit and pressure on each line.

    ``set_pressure_mpa`` is where the gauge will be read; without it the gauge is judged at the relief
    setting. ``units`` are those of the findings' sentences.
    """
    chain = arrange(parts)
    gauges = tuple(part for part in parts if part.kind is Kind.GAUGE)
    pump = next((part for part in chain if part.kind is Kind.PUMP), None)
    joined = (*connections(chain), *(gauge_connections(pump, gauges) if pump else ()))
    lines = [line for line in Line if any(part.on(line) for part in (*chain, *gauges))]
    ratings = {line: _rate(line, (*chain, *gauges), pump) for line in lines}
    findings = (
        *_missing(parts, lines),
        *(Finding(_HARD, "misfit", joint.reason, joint.to_label) for joint in joined if not joint.fits),
        *_free_ends((*chain, *gauges), joined),
        *(
            found
            for rating in ratings.values()
            for found in _pressures(rating, (*chain, *gauges), pump, units)
        ),
        *(found for part in chain if part.kind is Kind.HOSE for found in _burst(part)),
        *(found for gauge in gauges for found in _gauge(gauge, ratings, set_pressure_mpa, units)),
    )
    return Circuit(tuple(part.label for part in (*chain, *gauges)), joined, ratings, findings)


def _missing(parts: Sequence[Part], lines: Sequence[Line]) -> Iterator[Finding]:
    """Find what a kit must have and has not, or has once too often."""
    labels = [part.label for part in parts]
    for label in sorted({label for label in labels if labels.count(label) > 1}):
        yield Finding(_HARD, "listed-twice", f"{label} is in the kit twice: list each piece once.", label)
    for kind in (Kind.PUMP, Kind.WRENCH):
        count = sum(part.kind is kind for part in parts)
        if count != 1:
            sentence = f"A kit has one {kind}, this one has {count or 'none'}."
            yield Finding(_HARD, f"not-one-{kind}", sentence)
    if not any(part.kind is Kind.GAUGE and part.on(Line.ADVANCE) for part in parts):
        sentence = "The kit has no gauge on the advance line, so the set pressure cannot be seen."
        yield Finding(_HARD, "no-gauge", sentence)
    for line in lines or Line:
        for kind in (Kind.PUMP, Kind.HOSE, Kind.WRENCH):
            if not any(part.kind is kind and part.on(line) for part in parts):
                sentence = f"No {kind} is connected to the {line} line."
                yield Finding(_HARD, "missing-part", sentence)


def _free_ends(parts: Sequence[Part], joined: Sequence[Connection]) -> Iterator[Finding]:
    """Find ports that lead nowhere."""
    for part in parts:
        used = [
            port
            for joint in joined
            for label, port in ((joint.from_label, joint.from_port), (joint.to_label, joint.to_port))
            if label == part.label
        ]
        for port in part.ports:
            if port in used:
                used.remove(port)
            else:
                sentence = f"{part.label} has an open end on the {port.line} line ({port})."
                yield Finding(_HARD, "free-end", sentence, part.label)


def _ratings_on(line: Line, part: Part) -> Iterator[tuple[str, float | None]]:
    """Give every rating that counts on the line, with the words that name it."""
    yield f"{part.label} on the {line} line", part.mwp_mpa.get(line)
    for port in part.ports:
        if port.line is line:
            rating = port.mwp_mpa
            if port.flush_face and known(rating):
                rating = min(rating, FLUSH_FACE_HIGHEST_MPA)
            yield f"the {port.end} end of {part.label} on the {line} line ({port})", rating


def _rate(line: Line, parts: Sequence[Part], pump: Part | None) -> LineRating:
    relief = pump.relief_mpa.get(line) if pump else None
    rated = [(rating, part.label) for part in parts if part.on(line) for _, rating in _ratings_on(line, part)]
    unknown = next((label for rating, label in rated if not known(rating)), None)
    if unknown is None:
        working, limited_by = min(((rating, label) for rating, label in rated if known(rating)), key=_first)
    else:
        working, limited_by = None, unknown
    return LineRating(line, working, limited_by, relief if known(relief) else None)


def _first(pair: tuple[float, str]) -> float:
    return pair[0]


def _pressures(
    rating: LineRating, parts: Sequence[Part], pump: Part | None, units: Units
) -> Iterator[Finding]:
    """Hold the relief setting of one line against every part of it."""
    line, relief = rating.line, rating.relief_mpa
    for part in parts:
        for words, value in _ratings_on(line, part) if part.on(line) else ():
            if not known(value):
                sentence = f"The maximum working pressure of {words} is not on record."
                yield Finding(_HARD, "rating-unknown", sentence, part.label)
    if pump is None:
        return
    if relief is None:
        sentence = f"The relief setting of {pump.label} on the {line} line is not on record."
        yield Finding(_HARD, "relief-unknown", sentence, pump.label)
        return
    yield from _flush_faces(line, relief, parts, units)
    for part in parts:
        ratings = [value for _, value in _ratings_on(line, part) if known(value)] if part.on(line) else []
        if ratings and exceeds(relief, min(ratings)):
            sentence = _too_high(pump.label, line, relief, min(ratings), part.label, units)
            yield Finding(_HARD, "relief-above-rating", sentence, part.label)


def _flush_faces(line: Line, relief: float, parts: Sequence[Part], units: Units) -> Iterator[Finding]:
    if not exceeds(relief, FLUSH_FACE_HIGHEST_MPA):
        return
    for part in parts:
        if any(port.line is line and port.flush_face for port in part.ports):
            sentence = (
                f"{part.label} has a flush-face coupling on the {line} line; ISO 16028 rates those to "
                f"{units.rating(FLUSH_FACE_HIGHEST_MPA)} at most, and the relief valve is set to "
                f"{units.setting(relief)}."
            )
            yield Finding(_HARD, "flush-face", sentence, part.label)


def _too_high(pump: str, line: Line, relief: float, working: float, limited_by: str, units: Units) -> str:
    over = (relief / working - 1) * 100
    sentence = (
        f"{pump} can put {units.setting(relief)} on the {line} line, which {limited_by} limits to "
        f"{units.rating(working)}: {over:.1f} % too much."
    )
    if abs(working - PSI_10_000_MPA) < 0.01:  # noqa: PLR2004  Plates and sheets round it.
        sentence += (
            " 10,000 psi is 689.5 bar, not 700 bar: the two differ by 1.5 %, so lower the relief setting, "
            "or use a part whose plate says 700 bar."
        )
    return sentence


def _burst(hose: Part) -> Iterator[Finding]:
    ratio = hose.burst_ratio
    if not known(ratio):
        yield Finding(_NOTE, "burst-ratio", f"The burst ratio of {hose.label} is not on record.", hose.label)
    elif exceeds(LEAST_BURST_RATIO, ratio):
        sentence = f"{hose.label} bursts at {ratio:g} times its working pressure; usual is 4 (ISO 7751)."
        yield Finding(_NOTE, "burst-ratio", sentence, hose.label)


def _gauge(
    gauge: Part, ratings: Mapping[Line, LineRating], set_pressure_mpa: float | None, units: Units
) -> Iterator[Finding]:
    for line, rating in ratings.items():
        if gauge.on(line):
            # The set pressure belongs to the advance line; the relief valve sets the other.
            relief = rating.relief_mpa or 0.0
            reading = set_pressure_mpa if line is Line.ADVANCE and set_pressure_mpa else relief
            yield from _gauge_range(gauge.label, gauge.gauge_range_mpa, reading, max(relief, reading), units)


def in_best_band(share: float) -> bool:
    """Whether a share of a gauge's range lies where it is to be read."""
    return GAUGE_BAND[0] <= share <= GAUGE_BAND[1]


def _gauge_range(
    label: str, range_mpa: float | None, reading: float, highest: float, units: Units
) -> Iterator[Finding]:
    if not known(range_mpa):
        yield Finding(_HARD, "gauge-range-unknown", f"The range of gauge {label} is not on record.", label)
    elif exceeds(highest, range_mpa):
        sentence = (
            f"Gauge {label} ends at {units.rating(range_mpa)}, but {units.setting(highest)} can stand on it."
        )
        yield Finding(_HARD, "gauge-range-too-low", sentence, label)
    elif reading and not in_best_band(reading / range_mpa):
        share = 100 * reading / range_mpa
        sentence = (
            f"Gauge {label} is read at {share:.0f} % of its range; it works best between 25 % and 75 %."
        )
        yield Finding(_NOTE, "gauge-range-band", sentence, label)
