"""Which single piece does what: intervals of a class given to its pieces, as few of them as can be."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from fleet.planning.classes import from_us, peaks
from fleet.planning.facts import Kit, Part

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleet.planning.classes import Choice, ItemClass, Problem


def make_parts(problem: Problem, choices: Iterable[Choice]) -> list[Part]:
    """Answer the parts with their tags; the choices must not take more of a class than there is."""
    chosen = tuple(choices)
    use: defaultdict[int, list[tuple[int, int, int, int]]] = defaultdict(list)
    for number, choice in enumerate(chosen):
        for place, kit in enumerate(choice.kits):
            for one in kit:
                use[one].append((choice.slot.end_us, choice.slot.start_us, number, place))
    tags: dict[tuple[int, int, int], str] = {}
    most = peaks(chosen)
    for one, spans in use.items():
        for (_, _, number, place), tag in _give_out(problem.classes[one], most[one], spans):
            tags[number, place, one] = tag
    return [_part(problem, choice, number, tags) for number, choice in enumerate(chosen)]


_Span = tuple[int, int, int, int]


def _give_out(one: ItemClass, most: int, spans: list[_Span]) -> list[tuple[_Span, str]]:
    """Colour the intervals from the last end backwards, with the ``most`` pieces that may be used longest.

    Seen backwards, the time after a piece's last use comes before everything else on it; so with the
    pieces taken longest first, every interval finds one. The piece that leaves the smallest pause gets it.
    """
    until = dict(zip(one.tags[:most], one.until_us[:most], strict=True))
    given = []
    for span in sorted(spans, reverse=True):
        end, start, *_ = span
        tag = min((free_until, tag) for tag, free_until in until.items() if free_until >= end)[1]
        until[tag] = start
        given.append((span, tag))
    return given


def _part(problem: Problem, choice: Choice, number: int, tags: dict[tuple[int, int, int], str]) -> Part:
    kits = []
    for place, kit in enumerate(choice.kits):
        wrench, pump, *gauge = (tags[number, place, one] for one in kit)
        kits.append(Kit(wrench, pump, gauge[0] if gauge else None))
    times = from_us(choice.slot.start_us), from_us(choice.slot.end_us)
    return Part(problem.works[choice.work].key, *times, tuple(sorted(kits, key=lambda kit: kit.wrench)))
