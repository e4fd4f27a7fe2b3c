"""Which hoses and couplers join a pump to a wrench, and which gauges go on the pump.

The same conditions as in ``check_circuit``, used the other way round: instead of judging a chain, find the
chains that would be judged sound as to fit and rating. A coupler that changes no coupling is left out.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import product

from fleet.bolting.chains import misfit
from fleet.bolting.circuits import FLUSH_FACE_HIGHEST_MPA
from fleet.bolting.figures import exceeds, known
from fleet.bolting.parts import End, Kind, Line, Part, Port

MOST_HOSES = 2
MOST_COUPLERS = 2


def withstands(part: Part, relief_mpa: Mapping[Line, float | None]) -> bool:
    """Whether the part and its ports are rated for what the relief valve lets stand on each of its lines."""
    for line in Line:
        if not part.on(line):
            continue
        relief = relief_mpa.get(line)
        ports = [port for port in part.ports if port.line is line]
        ratings = [part.mwp_mpa.get(line), *(port.mwp_mpa for port in ports)]
        if any(port.flush_face for port in ports):
            ratings.append(FLUSH_FACE_HIGHEST_MPA)
        if not known(relief) or any(not known(one) or exceeds(relief, one) for one in ratings):
            return False
    return part.kind is not Kind.GAUGE or _within_range(part, relief_mpa)


def _within_range(gauge: Part, relief_mpa: Mapping[Line, float | None]) -> bool:
    highest = max((relief_mpa.get(line) or 0.0 for line in Line if gauge.on(line)), default=0.0)
    return known(gauge.gauge_range_mpa) and not exceeds(highest, gauge.gauge_range_mpa)


def ways(pump: Part, wrench: Part, between: Sequence[Part]) -> Iterator[tuple[Part, ...]]:
    """Every set of hoses and couplers, from the pump outwards, that joins the two on all their lines.

    Each part of ``between`` is used once at most; the same parts in another order are one way.
    """
    lines = [line for line in Line if pump.at(line, End.TOOL) or wrench.at(line, End.PUMP)]
    start = {line: pump.at(line, End.TOOL) for line in lines}
    seen: set[frozenset[int]] = set()
    if any(port is None for port in start.values()):
        return
    for chain in _grow(start, (), between):
        key = frozenset(map(id, chain[0]))
        if key not in seen and _reaches(chain[1], chain[0], wrench):
            seen.add(key)
            yield chain[0]


_Open = Mapping[Line, Port | None]


def _grow(
    ends: _Open, chain: tuple[Part, ...], between: Sequence[Part]
) -> Iterator[tuple[tuple[Part, ...], _Open]]:
    yield chain, ends
    for part in between:
        if any(part is used for used in chain) or not _may_come(part, chain):
            continue
        after = _put_on(ends, part)
        if after is not None:
            yield from _grow(after, (*chain, part), between)


def _may_come(part: Part, chain: Sequence[Part]) -> bool:
    """A hose on a line that has none yet, or one of few couplers."""
    alike = [used for used in chain if used.kind is part.kind]
    if part.kind is Kind.HOSE:
        return len(alike) < MOST_HOSES and not any(
            used.on(line) and part.on(line) for used in alike for line in Line
        )
    return len(alike) < MOST_COUPLERS


def _put_on(ends: _Open, part: Part) -> _Open | None:
    """The open ends after this part; None where it does not fit, or changes nothing."""
    after = dict(ends)
    changes = part.kind is Kind.HOSE
    for line in Line:
        if not part.on(line):
            continue
        open_end, into, out = ends.get(line), part.at(line, End.PUMP), part.at(line, End.TOOL)
        if open_end is None or into is None or out is None or misfit(open_end, into):
            return None
        changes |= (out.series, out.size, out.half) != (open_end.series, open_end.size, open_end.half)
        after[line] = out
    return after if changes else None


def _reaches(ends: _Open, chain: Sequence[Part], wrench: Part) -> bool:
    hosed = {line for part in chain if part.kind is Kind.HOSE for line in Line if part.on(line)}
    for line, open_end in ends.items():
        into = wrench.at(line, End.PUMP)
        if line not in hosed or open_end is None or into is None or misfit(open_end, into):
            return False
    return True


def gauge_sets(pump: Part, gauges: Sequence[Part]) -> Iterator[tuple[Part, ...]]:
    """Every way to put one gauge on each gauge port of the pump; none where a port stays open."""
    ports = [port for line in Line if (port := pump.at(line, End.GAUGE))]
    fitting = [
        [
            gauge
            for gauge in gauges
            if len(gauge.ports) == 1
            and gauge.ports[0].line is port.line
            and gauge.ports[0].end is End.PUMP
            and not misfit(port, gauge.ports[0])
        ]
        for port in ports
    ]
    if any(port.line is Line.ADVANCE for port in ports):
        yield from product(*fitting)
