"""Pieces that can stand in for one another gathered into classes, and the times at which their number counts.

Pieces of one class fit the same, are as strong, use the same pools and have the same gaps; they differ only
in how long they may be used. That is all a solver needs to know of them: where at every moment no more
pieces of a class are at work than may be used then, intervals can always be given to single pieces, because
the times after the last use of each are intervals of their own, all of which overlap, and intervals of which
at most n overlap can be coloured with n colours (interval graphs are perfect).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from fleet.bolting.figures import exceeds
from fleet.bolting.parts import Kind
from fleet.planning.answers import Score
from fleet.planning.checking import usable_until
from fleet.planning.facts import Wrench

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fleet.planning.facts import PlanFacts, PoolPiece, Work

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_NEVER_US = 1 << 62  # Later than any day that can be written.


def to_us(moment: datetime) -> int:
    """Answer an instant as whole microseconds, so that times compare exactly."""
    return (moment - _EPOCH) // timedelta(microseconds=1)


def from_us(moment_us: int) -> datetime:
    """Answer the instant again, in UTC."""
    return _EPOCH + timedelta(microseconds=moment_us)


@dataclass(frozen=True, slots=True)
class Slot:
    """One time [start_us, end_us) at which a work can be done; it covers the points first to last - 1."""

    start_us: int
    end_us: int
    first: int
    last: int


@dataclass(frozen=True, slots=True, order=True)
class Trait:
    """What pieces of a class share: wrenches all of it, pumps and gauges only their kind and pool."""

    kind: Kind
    drive: str = ""
    gives_nm: float = 0.0
    pools: tuple[tuple[Kind, str], ...] = ()
    """Wrenches: the pools a kit takes from. Pumps and gauges: the pool they are of."""
    in_use: bool = False
    """Wrenches: in use for kept parts already, so that using them more makes no further kit."""


@dataclass(frozen=True, slots=True)
class ItemClass:
    """Pieces that can stand in for one another."""

    trait: Trait
    tags: tuple[str, ...]
    """The one that may be used longest comes first."""
    until_us: tuple[int, ...]
    """How long each may be used, in the order of the tags."""
    free: tuple[int, ...]
    """How many may be used at each point."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A work at a slot with its kits; a kit is its wrench's class and then a class of each of its pools."""

    work: int
    slot: Slot
    kits: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class Problem:
    """The works still to be served, as the greedy plans and the solver see them."""

    works: tuple[Work, ...]
    """By earliest start, then key."""
    slots: tuple[tuple[Slot, ...], ...]
    """Of each work, the earliest first."""
    points_us: tuple[int, ...]
    """Between two points no work begins and no piece comes or goes."""
    classes: tuple[ItemClass, ...]
    """Of wrenches, the weakest first, and then of pumps and gauges."""
    able: tuple[tuple[int, ...], ...]
    """Of each work, the classes of wrenches that can serve it, the weakest first."""
    supply: tuple[tuple[tuple[int, ...], ...], ...]
    """Of each class of wrenches, the classes of each pool it takes from."""
    base: Score
    """The works that nothing can serve, and what the kept parts come to: no plan is better than that."""

    @property
    def fixed(self) -> bool:
        """Whether no work has a choice of times."""
        return all(len(slots) == 1 for slots in self.slots)

    def oversize_nm(self, work: int, wrench: int) -> int:
        """What a class of wrenches gives above the need, in whole N·m."""
        return oversize_nm(self.classes[wrench].trait.gives_nm, self.works[work].needed_nm)

    def score(self, choices: Iterable[Choice]) -> Score:
        """Answer how good these choices are, with the kept parts."""
        chosen = tuple(choices)
        kits = sum(n for c, n in peaks(chosen).items() if self._counts(c))
        oversize = sum(self.oversize_nm(choice.work, kit[0]) for choice in chosen for kit in choice.kits)
        unserved = len(self.works) - len(chosen)
        return Score(unserved, self.base.kits + kits, self.base.oversize_nm + oversize)

    def _counts(self, number: int) -> bool:
        trait = self.classes[number].trait
        return trait.kind is Kind.WRENCH and not trait.in_use


def oversize_nm(gives_nm: float, needed_nm: float) -> int:
    """What a wrench gives above the need, rounded to a whole N·m and never below nothing."""
    return max(0, round(gives_nm - needed_nm))


def peaks(choices: Iterable[Choice]) -> dict[int, int]:
    """Answer how many pieces of each class are at work at once at most."""
    moves: defaultdict[int, list[tuple[int, int]]] = defaultdict(list)
    for choice in choices:
        for number in (number for kit in choice.kits for number in kit):
            moves[number] += [(choice.slot.start_us, 1), (choice.slot.end_us, -1)]
    found = {}
    for number, steps in moves.items():
        at_work = most = 0
        for _, step in sorted(steps):  # At one moment, what ends comes before what begins.
            at_work += step
            most = max(most, at_work)
        found[number] = most
    return found


def does_for(work: Work, drive: str, gives_nm: float) -> bool:
    """Whether a wrench fits the work and is strong enough for it."""
    return drive in work.drives and not exceeds(work.needed_nm, gives_nm)


def make_problem(facts: PlanFacts, start_grid: timedelta) -> Problem:
    """Gather works into slots and pieces into classes; the facts are checked already."""
    kept = {part.work for part in facts.kept}
    rest = (work for work in facts.works if work.key not in kept)
    works = tuple(sorted(rest, key=lambda work: (work.earliest_start_at, work.key)))
    times = [_times(work, start_grid) for work in works]
    gathered = _gather(facts, works, times)
    starts = {start for spans in times for start, _ in spans}
    stops = {edge for pieces in gathered.values() for _, spans in pieces for span in spans for edge in span}
    points = sorted(starts | stops)
    classes = tuple(_make_class(key[0], pieces, points) for key, pieces in sorted(gathered.items()))
    pools: defaultdict[tuple[Kind, str], list[int]] = defaultdict(list)
    for number, one in enumerate(classes):
        if one.trait.kind is not Kind.WRENCH:
            pools[one.trait.pools[0]].append(number)
    supply = tuple(
        tuple(tuple(pools[pool]) for pool in one.trait.pools) if one.trait.kind is Kind.WRENCH else ()
        for one in classes
    )
    able = tuple(_able(work, classes, supply) for work in works)
    return Problem(
        works=works,
        slots=tuple(tuple(_slot(span, points) for span in spans) for spans in times),
        points_us=tuple(points),
        classes=classes,
        able=able,
        supply=supply,
        base=_base(facts, sum(not numbers for numbers in able)),
    )


def _able(
    work: Work, classes: Sequence[ItemClass], supply: Sequence[tuple[tuple[int, ...], ...]]
) -> tuple[int, ...]:
    return tuple(
        number
        for number, one in enumerate(classes)
        if one.trait.kind is Kind.WRENCH
        and does_for(work, one.trait.drive, one.trait.gives_nm)
        and all(supply[number])
    )


def _times(work: Work, start_grid: timedelta) -> list[tuple[int, int]]:
    step, lasts = (span // timedelta(microseconds=1) for span in (start_grid, work.duration))
    begin, end = to_us(work.earliest_start_at), to_us(work.latest_end_at)
    return [(start, start + lasts) for start in range(begin, end - lasts + 1, step)]


def _slot(span: tuple[int, int], points: Sequence[int]) -> Slot:
    start, end = span
    return Slot(start, end, bisect_left(points, start), bisect_left(points, end))


_Spans = tuple[tuple[int, int], ...]
_Gathered = dict[tuple[Trait, tuple[int, ...]], list[tuple[str, _Spans]]]


def _gather(facts: PlanFacts, works: Sequence[Work], times: Sequence[list[tuple[int, int]]]) -> _Gathered:
    """Put pieces together that share trait and gaps; what is free for no work at all is left out."""
    blocked: defaultdict[str, list[tuple[int, int]]] = defaultdict(list)
    for part in facts.kept:
        span = to_us(part.starts_at), to_us(part.ends_at)
        for kit in part.kits:
            for tag in (kit.wrench, kit.pump, kit.gauge):
                if tag is not None:
                    blocked[tag].append(span)
    in_use = {kit.wrench for part in facts.kept for kit in part.kits}
    edges: dict[tuple[str, float] | None, tuple[list[int], list[int]]] = {}
    found: _Gathered = defaultdict(list)
    pieces: tuple[Wrench | PoolPiece, ...] = (*facts.wrenches, *facts.pool_pieces)
    for piece in pieces:
        trait = _trait(piece, in_use)
        does = (trait.drive, trait.gives_nm) if trait.kind is Kind.WRENCH else None
        if does not in edges:
            spans = [
                s for w, own in zip(works, times, strict=True) if not does or does_for(w, *does) for s in own
            ]
            edges[does] = sorted({start for start, _ in spans}), sorted({end for _, end in spans})
        away = sorted([*blocked[piece.tag], *((to_us(b.starts_at), to_us(b.ends_at)) for b in piece.busy)])
        until = _NEVER_US if piece.due_on is None else to_us(usable_until(piece.due_on, facts.zone))
        spans = _free(away, until, *edges[does])
        if spans:
            # The last end stays out of the key: it is the one thing in which pieces of a class may differ.
            key = tuple(edge for span in spans for edge in span)[:-1]
            found[trait, key].append((piece.tag, tuple(spans)))
    return found


def _trait(piece: Wrench | PoolPiece, in_use: set[str]) -> Trait:
    if not isinstance(piece, Wrench):
        return Trait(piece.kind, pools=((piece.kind, piece.pool),))
    pools = ((Kind.PUMP, piece.pump_pool), (Kind.GAUGE, piece.gauge_pool))
    named = tuple((kind, pool) for kind, pool in pools if pool is not None)
    return Trait(Kind.WRENCH, piece.drive, piece.gives_nm, named, piece.tag in in_use)


def _free(
    away: list[tuple[int, int]], until: int, starts: list[int], ends: list[int]
) -> list[tuple[int, int]]:
    """The spans in which a piece can serve some work, each drawn in to where works can begin and end."""
    edges = [(-_NEVER_US, -_NEVER_US), *away, (until, until)]
    found = []
    latest = -_NEVER_US
    for (_, left), (right, _) in pairwise(edges):
        latest = max(latest, left)
        first, last = bisect_left(starts, latest), bisect_right(ends, min(right, until)) - 1
        if first < len(starts) and last >= 0 and starts[first] < ends[last]:
            found.append((starts[first], ends[last]))
    return found


def _make_class(trait: Trait, pieces: list[tuple[str, _Spans]], points: Sequence[int]) -> ItemClass:
    longest = sorted(pieces, key=lambda piece: (-piece[1][-1][1], piece[0]))
    steps = [0] * (len(points) + 1)
    for _, spans in pieces:
        for begin, end in spans:
            steps[bisect_left(points, begin)] += 1
            steps[bisect_left(points, end)] -= 1
    free, running = [], 0
    for step in steps[: len(points)]:
        running += step
        free.append(running)
    tags, until = tuple(tag for tag, _ in longest), tuple(spans[-1][1] for _, spans in longest)
    return ItemClass(trait, tags, until, tuple(free))


def _base(facts: PlanFacts, unable: int) -> Score:
    works = {work.key: work for work in facts.works}
    wrenches = {wrench.tag: wrench for wrench in facts.wrenches}
    kits = [(works[part.work], wrenches[kit.wrench]) for part in facts.kept for kit in part.kits]
    oversize = sum(oversize_nm(wrench.gives_nm, work.needed_nm) for work, wrench in kits)
    return Score(unable, len({wrench.tag for _, wrench in kits}), oversize)
