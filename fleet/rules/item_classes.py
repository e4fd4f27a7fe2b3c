"""A class of items for which any one will do: written in plain words, read again, and who belongs to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.bolting.figures import exceeds, known
from fleet.bolting.parts import Kind
from fleet.measures.quantities import Kind as Measured
from fleet.measures.quantities import Measure, read_measure
from fleet.refusals import NotPossible, Unreadable
from fleet.rules.sockets import FIT_TOLERANCE_MM

if TYPE_CHECKING:
    from collections.abc import Mapping

# Parts of the text are put between these; the model comes last, because its name may hold anything.
_BETWEEN = "; "
_WORDS = {
    "at_least": "at least ",
    "drive": "drive ",
    "across_flats": "across flats ",
    "coupling": "coupling ",
}
_MODEL = "model "
# Of what only some kinds have.
_HAVE_DRIVE = (Kind.WRENCH, Kind.SOCKET)


@dataclass(frozen=True, slots=True)
class Wanted:
    """Any item of a kind that meets all of this; what is None is left open.

    ``at_least`` is a torque of a wrench, the range of a gauge, and else the working pressure.
    """

    kind: Kind
    model: str | None = None
    at_least: Measure | None = None
    drive: Measure | None = None
    across_flats: Measure | None = None
    coupling: str | None = None

    def __str__(self) -> str:
        """The class in words, as it is kept: ``pump; at least 700 bar; coupling Screw A 3/8 in``."""
        measures = {name: getattr(self, name) for name in ("at_least", "drive", "across_flats")}
        said = [f"{_WORDS[name]}{one.written}" for name, one in measures.items() if one]
        said += [f"{_WORDS['coupling']}{self.coupling}"] if self.coupling else []
        said += [f"{_MODEL}{self.model}"] if self.model else []
        return _BETWEEN.join([self.kind.value, *said])


@dataclass(frozen=True, slots=True)
class Member:
    """One item as a class sees it. ``strength`` is N·m of a wrench and MPa of all else."""

    id: int
    tag: str
    kind: str
    model: str
    strength: float | None
    rating_mpa: float | None
    """The working pressure of its plate; of a gauge, its range."""
    drive_mm: float | None
    across_flats_mm: float | None
    couplings: tuple[str, ...]
    """Series and size of each of its ports."""


def make_class(kind: Kind, asked: Mapping[str, str | None]) -> Wanted:
    """The class as asked for: ``model``, ``at_least``, ``drive``, ``across_flats``, ``coupling``.

    Raises ``Unreadable`` for a measure that cannot be read, ``NotPossible`` for what the kind does not have.
    """
    given = {name: " ".join(text.split()) for name, text in asked.items() if text and text.strip()}
    if kind is Kind.SOCKET and "at_least" in given:
        raise NotPossible("A socket has no rating on record; say its --drive and its --across-flats.")
    if kind not in _HAVE_DRIVE and ("drive" in given or "across_flats" in given):
        raise NotPossible(f"A {kind} has neither a square drive nor a width across flats.")
    strength = Measured.TORQUE if kind is Kind.WRENCH else Measured.PRESSURE
    kinds = {"at_least": strength, "drive": Measured.LENGTH, "across_flats": Measured.LENGTH}
    measures = {name: read_measure(given[name], what) for name, what in kinds.items() if name in given}
    return Wanted(kind, model=given.get("model"), coupling=given.get("coupling"), **measures)


def read_class(text: str) -> Wanted:
    """Read what ``str`` of a class wrote. Raises ``Unreadable`` for anything else."""
    rest, _, model = text.partition(f"{_BETWEEN}{_MODEL}")
    kind, *parts = rest.split(_BETWEEN)
    asked: dict[str, str | None] = {"model": model or None}
    for part in parts:
        name = next((name for name, words in _WORDS.items() if part.startswith(words)), None)
        if name is None:
            raise Unreadable(f"{part[:40]!r} says nothing about a class of items.")
        asked[name] = part.removeprefix(_WORDS[name])
    if kind not in set(Kind):
        raise Unreadable(f"{kind[:40]!r} is not a kind of equipment.")
    return make_class(Kind(kind), asked)


def belongs(item: Member, wanted: Wanted) -> bool:
    """Whether the item is one of the class; what is not on record of it does not count as met."""
    if item.kind != wanted.kind or (wanted.model and item.model.casefold() != wanted.model.casefold()):
        return False
    offered = item.strength if wanted.kind is Kind.WRENCH else item.rating_mpa
    strong = wanted.at_least is None or (known(offered) and not exceeds(wanted.at_least.base, offered))
    couplings = {name.casefold() for name in item.couplings}
    joined = wanted.coupling is None or wanted.coupling.casefold() in couplings
    return (
        strong
        and joined
        and _same(item.drive_mm, wanted.drive)
        and _same(item.across_flats_mm, wanted.across_flats)
    )


def _same(ours_mm: float | None, asked: Measure | None) -> bool:
    return asked is None or (known(ours_mm) and abs(ours_mm - asked.base) <= FIT_TOLERANCE_MM)


def smallest_first(item: Member) -> tuple[float, str]:
    """Sort by least oversize: the weakest that will do comes first, so that the strong ones stay free."""
    return (item.strength if known(item.strength) else float("inf"), item.tag)
