"""Which pumps and gauges stand in for one another, and which hose and coupler join a wrench to them."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.bolting.charts import torque_at
from fleet.bolting.circuits import check_circuit
from fleet.bolting.figures import exceeds, known
from fleet.bolting.findings import Severity
from fleet.bolting.parts import End, Kind, Line
from fleet.refusals import OffTheChart

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.bolting.figures import Units
    from fleet.bolting.parts import Part, Port
    from fleet.lists.parts import Piece

# Pumps whose highest pressures differ no more than this are one pressure class; the lowest of them counts.
CLASS_SPREAD = 0.03


@dataclass(frozen=True, slots=True)
class Joining:
    """The models of the hose, and of the coupler where one is needed, between a pump and a wrench."""

    hose: str
    coupler: str | None


@dataclass(frozen=True, slots=True)
class Pool:
    """Pumps of one pressure class and connection, and the gauges that go on them."""

    name: str
    gauge_pool: str
    pumps: tuple[Piece, ...]
    gauges: tuple[Piece, ...]
    highest_mpa: float

    @property
    def hardest(self) -> Piece:
        """The pump that puts the most on the lines: what stands that, stands the others."""
        return max(self.pumps, key=lambda pump: tuple(pump.part.relief_mpa.get(line) or 0 for line in Line))


@dataclass(frozen=True, slots=True)
class Power:
    """The pool that a wrench goes with, by which hoses and couplers, and the most it gives with that."""

    pool: Pool
    joinings: tuple[Joining, ...]
    gives_nm: float


def make_pools(pieces: Sequence[Piece], units: Units) -> list[Pool]:
    """The pools of pumps that have gauges, the one with the most pumps first.

    Pumps set lower than their class are in none: they would pull down what every wrench may be planned for.
    """
    groups: defaultdict[tuple[str, str], list[Piece]] = defaultdict(list)
    for piece in pieces:
        tool, gauge = _signature(piece.part, End.TOOL), _signature(piece.part, End.GAUGE)
        if piece.kind == Kind.PUMP and tool and gauge and known(_highest(piece.part)):
            groups[tool, gauge].append(piece)
    gauges = [piece for piece in pieces if piece.kind == Kind.GAUGE and known(piece.graduation_mpa)]
    found = []
    for (tool, gauge), pumps in groups.items():
        strong, highest_mpa = _one_class(pumps)
        relief = max(pump.part.relief_mpa.get(Line.ADVANCE) or 0 for pump in strong)
        fitting = tuple(g for g in gauges if _goes_on(g, strong[0], relief))
        if fitting:
            name = f"{units.setting(highest_mpa)}, {tool}"
            found.append(Pool(name, f"{gauge} on the pump", strong, fitting, highest_mpa))
    return sorted(found, key=lambda pool: (-len(pool.pumps), pool.name))


def _signature(part: Part, end: End) -> str:
    """The couplings of a side in words: the same words join to the same things."""
    ports = [port for port in part.ports if port.end is end]
    halves = sorted({f"{port.series} {port.size}" for port in ports})
    return " and ".join(halves) + _sides(ports) if ports else ""


def _sides(ports: Sequence[Port]) -> str:
    """Which half sits on which line, where it is not as usual: female on the advance line of a pump."""
    told = [f"{port.half} {port.line}" for port in ports]
    usual = {"female advance", "male retract"}
    return "" if set(told) <= usual else f" ({', '.join(sorted(told))})"


def _highest(part: Part) -> float | None:
    values = [part.mwp_mpa.get(Line.ADVANCE), part.relief_mpa.get(Line.ADVANCE)]
    return min((value for value in values if known(value)), default=None) if all(map(known, values)) else None


def _one_class(pumps: Sequence[Piece]) -> tuple[tuple[Piece, ...], float]:
    """The pumps of the commonest pressure, and the lowest pressure among them."""
    highest = {pump.id: _highest(pump.part) or 0.0 for pump in pumps}
    counts = Counter(round(value, 3) for value in highest.values())
    usual = max(counts, key=lambda value: (counts[value], value))
    chosen = tuple(pump for pump in pumps if highest[pump.id] >= usual * (1 - CLASS_SPREAD))
    return chosen, min(highest[pump.id] for pump in chosen)


def _goes_on(gauge: Piece, pump: Piece, relief_mpa: float) -> bool:
    port, into = pump.part.at(Line.ADVANCE, End.GAUGE), gauge.part.at(Line.ADVANCE, End.PUMP)
    if port is None or into is None or not known(gauge.part.gauge_range_mpa):
        return False
    fits = (port.series, port.size) == (into.series, into.size) and port.half is not into.half
    return fits and not exceeds(relief_mpa, gauge.part.gauge_range_mpa)


class Joiner:
    """Finds for each model of wrench the pool it goes with; each circuit is put together only once."""

    def __init__(self, pieces: Sequence[Piece], pools: Sequence[Pool]) -> None:
        self._pools = pools
        self._hoses = list({p.model: p for p in pieces if p.kind == Kind.HOSE}.values())
        self._couplers = list({p.model: p for p in pieces if p.kind == Kind.COUPLER}.values())
        self._known: dict[str, list[tuple[Pool, tuple[Joining, ...], float]]] = {}

    def power(self, wrench: Piece) -> Power | None:
        """The pool with the most pumps that it can be joined to, and what it gives at that pressure."""
        if wrench.chart is None:
            return None
        if wrench.model not in self._known:
            self._known[wrench.model] = [found for pool in self._pools if (found := self._join(wrench, pool))]
        best: Power | None = None
        for pool, joinings, line_mpa in self._known[wrench.model]:
            highest = min(line_mpa, pool.highest_mpa, wrench.chart.top.pressure_mpa)
            try:
                gives_nm = torque_at(wrench.chart, highest).torque_nm
            except OffTheChart:
                continue
            direct = all(joining.coupler is None for joining in joinings)
            # A pool that needs no adapter goes first; a few per cent more torque are not worth a coupler.
            if best is None or (direct and any(one.coupler for one in best.joinings)):
                best = Power(pool, joinings, gives_nm)
        return best

    def _join(self, wrench: Piece, pool: Pool) -> tuple[Pool, tuple[Joining, ...], float] | None:
        """The joinings without a coupler, or else those with one; and what their lines may carry."""
        for couplers in ([None], self._couplers):
            found, ratings = [], []
            for hose in self._hoses:
                for coupler in couplers:
                    rating = _rating(pool, [hose, *([coupler] if coupler else []), wrench])
                    if rating is not None:
                        found.append(Joining(hose.model, coupler.model if coupler else None))
                        ratings.append(rating)
            if found:
                return pool, tuple(found), min(ratings)
        return None


def _rating(pool: Pool, chain: Sequence[Piece]) -> float | None:
    """What the advance line may carry, when the chain fits and stands the hardest pump of the pool."""
    circuit = check_circuit([pool.hardest.part, *(p.part for p in chain), pool.gauges[0].part])
    if any(finding.severity is not Severity.NOTE for finding in circuit.findings):
        return None
    return circuit.ratings[Line.ADVANCE].working_mpa
