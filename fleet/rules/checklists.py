"""What is looked at when an item is inspected: the program's own checklists, and how a room's own are read.

The points for hoses follow the published reject criteria for hose assemblies: DGUV Regel 113-020 (formerly
BGR 237), read as quotations and put into our own words. Those for wrenches, pumps, couplers, gauges and
sockets are common practice of the trade, no source. None of them replaces the maker's manual: what that
asks for goes into the room's own version.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from fleet.bolting.parts import Kind
from fleet.refusals import Unreadable
from fleet.rules.nearest import hint

if TYPE_CHECKING:
    from collections.abc import Mapping

MOST_POINTS = 60
LONGEST_POINT = 300
HEADINGS = ("Kind", "Checkpoint")


@dataclass(frozen=True, slots=True)
class Checklist:
    """The points for one kind, in order; version 0 is the program's own."""

    kind: str
    version: int
    source: str
    points: tuple[str, ...]


PROGRAM_SOURCE = "the program's own list"

_POINTS: Mapping[Kind, tuple[str, ...]] = MappingProxyType(
    {
        Kind.WRENCH: (
            "Reaction arm: straight, no crack, no worn splines or foot",
            "Lock of the reaction arm: holds the arm in every position",
            "Square drive or hexagon link: no twist, crack or rounded corner",
            "Ratchet: takes every tooth, does not slip, changes direction fully",
            "Retaining pins, screws and drive retainer: all there and tight",
            "Housing: no crack, dent or sign of a weld",
            "Swivels: turn freely under no pressure and do not leak",
            "Ports and coupling halves: undamaged, caps on",
            "No oil outside: piston, swivels and plugs are dry",
            "Guards and handle: fitted and firm",
            "Type plate and tag: readable, with the maximum working pressure",
            "Pressure-torque chart: at hand for this very model",
        ),
        Kind.PUMP: (
            "Relief valve: seal or tamper mark unbroken, setting readable",
            "Oil: level right, clear, no water or foam",
            "No leak at reservoir, manifold, valve and fittings",
            "Power cable and plug, or air line and its coupling: sound",
            "Remote control and its cable: sound, every button does what it says and stops when let go",
            "Gauge: fitted, fits the chart in use, reads zero without pressure",
            "Oil, air or breather filters: clean and in place",
            "Advance and retract ports: undamaged, marked, caps on",
            "Frame, handle and lifting point: sound",
            "Fan, motor and guards: clear and firm",
            "Type plate and tag: readable, with the maximum working pressure",
        ),
        Kind.HOSE: (
            "Cover: no damage down to the reinforcement (rubbing, cuts, tears)",
            "Cover: no cracks, not brittle",
            "Shape: no blister, no layers coming apart",
            "Shape: no kink, flattening or crushed place, bent or straight",
            "No leak along the hose or at the fittings",
            "Fittings: not damaged or bent, seal faces and threads sound",
            "Fittings: no corrosion that takes from their strength",
            "Hose has not crept out of its fittings",
            "Bend: not bent tighter than its smallest bend radius, guards and sleeves in place",
            "Age: storage time and life not passed",
            "Marking: maker, maximum working pressure, year and month readable",
            "Coupling halves: undamaged, dust caps there",
        ),
        Kind.COUPLER: (
            "Thread and sleeve: clean, not worn or crossed",
            "Ball or poppet: not pushed in, cracked or stuck; moves freely",
            "Seals: there, not cut or flattened",
            "Seats fully: screws fully home by hand, without force",
            "No leak, connected or apart",
            "Body: no crack, dent or corrosion",
            "Dust cap: there and fits",
            "Marking: series, size and maximum working pressure known",
        ),
        Kind.GAUGE: (
            "Pointer: stands at zero without pressure",
            "Pointer: straight, moves freely, does not jump or stick",
            "Glass or window: there, clean, not broken",
            "Dial: range and unit readable",
            "Case, filling and blow-out plug: sound, no leak",
            "Connection: thread or coupling half undamaged",
            "Calibration label: there, matches the tag, seal unbroken",
            "Tag: readable",
        ),
        Kind.SOCKET: (
            "No crack anywhere, looked at under good light",
            "Hexagon: corners not rounded or spread",
            "Square: not worn, twisted or spread",
            "Retaining ring and pin: there, and their groove and hole undamaged",
            "Size and drive marking: readable",
            "Impact rated: a power socket, not a chromed hand socket",
            "No weld, no heat colour, not ground or turned",
        ),
    }
)


def program_checklist(kind: str) -> Checklist:
    """The program's own checklist for a kind."""
    return Checklist(Kind(kind).value, 0, PROGRAM_SOURCE, _POINTS[Kind(kind)])


def read_checklists(text: str, name: str) -> tuple[Checklist, ...]:
    """Read a room's own checklists from a CSV text with the headings Kind and Checkpoint.

    Rows of one kind are its points in order. The versions are 0 until they are given one. ``name`` is what
    the text is called in sentences. Raises ``Unreadable``.
    """
    first = text.partition("\n")[0]
    separator = max(",;\t", key=first.count)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=None), delimiter=separator))
    except csv.Error as error:
        raise Unreadable(f"{name} is no CSV that can be read: {error}.") from error
    if not rows or tuple(cell.strip().casefold() for cell in rows[0]) != ("kind", "checkpoint"):
        raise Unreadable(f"The first row of {name} must be: {','.join(HEADINGS)}.")
    points: dict[str, list[str]] = {}
    for number, row in enumerate(rows[1:], start=2):
        if any(cell.strip() for cell in row):
            kind, point = _row(row, f"Row {number} of {name}")
            before = points.setdefault(kind, [])
            if point.casefold() in (other.casefold() for other in before):
                raise Unreadable(f"Row {number} of {name} repeats a checkpoint of the {kind}: {point!r}.")
            before.append(point)
    if not points:
        raise Unreadable(f"{name} has no checkpoints.")
    for kind, given in points.items():
        if len(given) > MOST_POINTS:
            raise Unreadable(
                f"{name} has {len(given)} checkpoints for a {kind}; nobody answers more than "
                f"{MOST_POINTS} with care."
            )
    return tuple(Checklist(kind, 0, name, tuple(given)) for kind, given in points.items())


def _row(row: list[str], where: str) -> tuple[str, str]:
    cells = [" ".join(cell.split()) for cell in row]
    if len(cells) != len(HEADINGS):
        raise Unreadable(
            f"{where} has {len(cells)} cells instead of 2; put text that holds the separator into "
            f"quotation marks."
        )
    kind, point = cells[0].casefold(), cells[1]
    if kind not in set(Kind):
        raise Unreadable(f"{where} names no kind that is known: {cells[0][:40]!r}.{hint(kind, set(Kind))}")
    if not point or len(point) > LONGEST_POINT or not point.isprintable():
        raise Unreadable(f"{where} needs a checkpoint of 1 to {LONGEST_POINT} printable characters.")
    return kind, point
