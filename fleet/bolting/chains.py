"""How the parts of a kit hang together: pump, hoses and couplers in series, wrench; the gauge on the pump.

Two halves of a coupling fit when series and size are the same and the halves are opposite. Which different
series may be mixed is the makers' word and is never assumed here.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, permutations

from fleet.bolting.parts import End, Kind, Line, Part, Port

MOST_REARRANGED = 6
"""Up to so many hoses and couplers every order is tried (720); a longer chain is taken in the order given."""


@dataclass(frozen=True, slots=True)
class Connection:
    """Two parts that meet on one line; a port is None where the part has none there."""

    line: Line
    from_label: str
    from_port: Port | None
    to_label: str
    to_port: Port | None
    fits: bool
    reason: str


def misfit(one: Port, other: Port) -> str:
    """Say why two ports do not fit, or answer an empty text when they do."""
    reasons = []
    for word, ours, theirs in (("series", one.series, other.series), ("size", one.size, other.size)):
        if not (ours.strip() and theirs.strip()):
            reasons.append(f"a {word} is not on record")
        elif ours.strip().casefold() != theirs.strip().casefold():
            reasons.append(f"the {word} differs ({ours} and {theirs})")
    if one.half is other.half:
        reasons.append(f"both halves are {one.half}")
    return " and ".join(reasons)


def arrange(parts: Sequence[Part]) -> tuple[Part, ...]:
    """Put the chain in the order that leaves the fewest misfits, pump first and wrench last.

    Among equals the order given wins, so a kit that cannot fit is reported as it was written.
    """
    pumps = tuple(part for part in parts if part.kind is Kind.PUMP)
    wrenches = tuple(part for part in parts if part.kind is Kind.WRENCH)
    between = tuple(part for part in parts if part.kind in {Kind.HOSE, Kind.COUPLER})
    orders = permutations(between) if len(between) <= MOST_REARRANGED else iter((between,))
    best, fewest = (*pumps, *between, *wrenches), len(parts) * len(Line) + 1
    for order in orders:
        chain = (*pumps, *order, *wrenches)
        misfits = _misfits(chain)
        if misfits < fewest:
            best, fewest = chain, misfits
        if fewest == 0:
            break
    return best


def _meetings(chain: Sequence[Part]) -> Iterator[tuple[Line, Part, Part]]:
    """Pair each part of the chain with the next on each line; one without ports there is passed over."""
    for line in Line:
        for nearer, farther in pairwise(part for part in chain if part.on(line)):
            yield line, nearer, farther


def _misfits(chain: Sequence[Part]) -> int:
    count = 0
    for line, nearer, farther in _meetings(chain):
        out, into = nearer.at(line, End.TOOL), farther.at(line, End.PUMP)
        count += out is None or into is None or bool(misfit(out, into))
    return count


def connections(chain: Sequence[Part]) -> Iterator[Connection]:
    """Join each part of the chain to the next one on each line."""
    for line, nearer, farther in _meetings(chain):
        yield _join(line, (nearer, nearer.at(line, End.TOOL)), (farther, farther.at(line, End.PUMP)))


def gauge_connections(pump: Part, gauges: Sequence[Part]) -> Iterator[Connection]:
    """Put each gauge on the pump's gauge port of the same line; a port takes one gauge."""
    free = {line: pump.at(line, End.GAUGE) for line in Line}
    for gauge in gauges:
        line = gauge.ports[0].line if gauge.ports else Line.ADVANCE
        yield _join(line, (pump, free.pop(line, None)), (gauge, gauge.at(line, End.PUMP)))


def _join(line: Line, nearer: tuple[Part, Port | None], farther: tuple[Part, Port | None]) -> Connection:
    (near_part, near_port), (far_part, far_port) = nearer, farther
    where = f"{near_part.label} to {far_part.label} on the {line} line"
    if near_port is None or far_port is None:
        bare = " and ".join(part.label for part, port in (nearer, farther) if port is None)
        why, reason = "no port", f"{where}: no free port on record there for {bare}."
    else:
        why = misfit(near_port, far_port)
        verdict = f"do not fit, {why}" if why else "fit"
        reason = f"{where}: {near_port} and {far_port} {verdict}."
    return Connection(line, near_part.label, near_port, far_part.label, far_port, not why, reason)
