"""Which kits to offer for a joint first, what keeps a wrench off it, and what to hire when there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.bolting.figures import FLOAT_NOISE, exceeds, inches, known
from fleet.bolting.parts import Kind
from fleet.measures.times import show_day
from fleet.refusals import NotPossible
from fleet.rules.register import Head
from fleet.rules.sockets import FIT_TOLERANCE_MM, in_both

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from fleet.bolting.figures import Units

# Above this no kit would ever do.
MOST_MARGIN = 90.0
FAR = 100_000
"""Days to the next due day of what is never due."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What gets at a joint, in mm and kg; None lets anything in. ``at_once`` kits work on it together."""

    head: str | None = None
    drive_mm: float | None = None
    widest_mm: float | None = None
    highest_mm: float | None = None
    heaviest_kg: float | None = None
    at_once: int = 1


@dataclass(frozen=True, slots=True)
class WrenchSize:
    """A wrench's model as its plate describes it, in mm and kg; None where it is not on record."""

    head: str
    drive_mm: float | None
    link_mm: float | None
    width_mm: float | None
    height_mm: float | None
    weight_kg: float | None


@dataclass(frozen=True, slots=True)
class Offer:
    """One free piece: when it is next due, and whether it need not be moved for the job."""

    id: int
    tag: str
    kind: str
    shelf: str | None
    due_on: date | None
    at_job: bool
    kept: bool
    """Reserved for the job through the whole window already."""
    days: int = FAR
    """From today to the next due day."""


@dataclass(frozen=True, slots=True)
class Ranked:
    """How good a kit is: least oversize, then the longest time to its next due day, then fewest moves."""

    oversize_percent: int
    days_to_due: int
    moves: int
    pieces: tuple[Offer, ...]

    @property
    def key(self) -> tuple[int, int, int, tuple[str, ...]]:
        """Smaller is better; tags decide between equals, so that the same room gives the same answer."""
        tags = tuple(piece.tag for piece in self.pieces)
        return self.oversize_percent, -self.days_to_due, self.moves, tags


def asked_margin(percent: float) -> float:
    """The margin as a share of what the kit can give; refuses what is no margin."""
    if not (math.isfinite(percent) and 0 <= percent <= MOST_MARGIN):
        raise NotPossible(f"A margin of {percent:g} % makes no sense: give one from 0 to {MOST_MARGIN:g} %.")
    return percent / 100


def strong_enough(given_nm: float, needed_nm: float, margin: float) -> bool:
    """Whether the need leaves the margin, as a share of what is given."""
    return not exceeds(needed_nm, given_nm * (1 - margin))


def right_drive(size: WrenchSize, limits: Limits, flats_mm: float) -> bool:
    """Whether the wrench meets the nut, by link or socket, and is of the head and drive asked for."""
    if limits.head is not None and size.head != limits.head:
        return False
    if size.head == Head.RATCHET_LINK:
        return limits.drive_mm is None and alike(size.link_mm, flats_mm)
    return known(size.drive_mm) and (limits.drive_mm is None or alike(size.drive_mm, limits.drive_mm))


def alike(ours_mm: float | None, theirs_mm: float) -> bool:
    """Whether two sizes on record are the same hexagon or square."""
    return ours_mm is not None and abs(ours_mm - theirs_mm) <= FIT_TOLERANCE_MM


def kept_out(size: WrenchSize, limits: Limits) -> str | None:
    """Why the wrench cannot get at the joint; a size that is not on record does not count as fitting."""
    for what, ours, most, too in (
        ("width", size.width_mm, limits.widest_mm, "too wide"),
        ("height", size.height_mm, limits.highest_mm, "too high"),
        ("weight", size.weight_kg, limits.heaviest_kg, "too heavy"),
    ):
        if most is None:
            continue
        if not known(ours):
            return f"with no {what} on record"
        if exceeds(ours, most):
            return too
    return None


def choose(wrench: Offer, roles: Sequence[Sequence[Offer]]) -> tuple[int, int, tuple[Offer, ...]] | None:
    """One piece for each role: the longest time to the next due day of all, and then the fewest moves.

    Answers the days to that day, the moves, and the wrench with the pieces; None where a role stays empty.
    """
    picked: list[Offer] = [wrench]
    open_roles = [[piece for piece in role if piece.id != wrench.id] for role in roles]
    if not all(open_roles):
        return None
    latest = [max(piece.days for piece in role) for role in open_roles]
    target = min([wrench.days, *latest])
    for role in open_roles:
        taken = {piece.id for piece in picked}
        left = [piece for piece in role if piece.id not in taken]
        if not left:
            return None
        good = [piece for piece in left if piece.days >= target] or left
        picked.append(min(good, key=lambda piece: (_moves(piece, wrench), piece.tag)))
    days = min(piece.days for piece in picked)
    return days, sum(_moves(piece, wrench) for piece in picked), tuple(picked)


def days_to(due_on: date | None, today: date) -> int:
    """Days from today to the next due day."""
    return (due_on - today).days if due_on else FAR


def _moves(piece: Offer, wrench: Offer) -> int:
    """Whether it must be brought: what is at the job, or on the wrench's shelf, comes along by itself."""
    if piece.at_job:
        return 0
    beside = piece.id != wrench.id and not wrench.at_job and piece.shelf is not None
    return 0 if beside and piece.shelf == wrench.shelf else 1


def oversize(strength_nm: float, needed_nm: float) -> int:
    """How much stronger the wrench is, at its full rating, than it need be, in whole per cent."""
    return math.floor(100 * (strength_nm / needed_nm - 1) + FLOAT_NOISE)


# --- When there is none -------------------------------------------------------------------------------------

PLURAL: Mapping[str, str] = {
    Kind.WRENCH: "wrenches",
    Kind.PUMP: "pumps",
    Kind.HOSE: "hoses",
    Kind.COUPLER: "couplers",
    Kind.GAUGE: "gauges",
    Kind.SOCKET: "sockets",
}


@dataclass(frozen=True, slots=True)
class Tally:
    """Of one kind, how many there are that could be meant, and how many of them each condition stops."""

    kind: str
    which: str
    total: int
    failing: tuple[tuple[str, int], ...]


def say_tally(tally: Tally) -> str:
    """Write it, as in ``14 wrenches of the right head and drive: 9 too weak, 3 reserved``."""
    word = tally.kind if tally.total == 1 else PLURAL[tally.kind]
    which = f" {tally.which}" if tally.which else ""
    if not tally.total:
        return f"No {tally.kind}{which} at this site."
    said = ", ".join(f"{count} {why}" for why, count in tally.failing)
    return f"{tally.total} {word}{which}: {said}."


# More days than this are told as a span.
_MOST_DAYS = 3


def say_due(days: Mapping[date, int], today: date) -> list[tuple[str, int]]:
    """What falls due before the last day, each day with its number; many days as a span, the past as one."""
    late = sum(count for day, count in days.items() if day < today)
    coming = sorted(day for day in days if day >= today)
    said = [("overdue", late)] if late else []
    if len(coming) > _MOST_DAYS:
        span = f"fall due between {show_day(coming[0])} and {show_day(coming[-1])}"
        return [*said, (span, sum(days[day] for day in coming))]
    verbs = {day: "falls" if days[day] == 1 else "fall" for day in coming}
    return said + [(f"{verbs[day]} due on {show_day(day)}", days[day]) for day in coming]


@dataclass(frozen=True, slots=True)
class Hire:
    """What is asked of a hirer: figures in base units, and the days."""

    kind: Kind
    count: int
    first_day: date
    last_day: date
    needed_nm: float = 0.0
    at_mpa: float = 70.0
    drive_mm: float | None = None
    flats_mm: float | None = None
    coupling: str | None = None


_NUMBERS = ("no", "one", "two", "three", "four", "five", "six")


def say_hire(asked: Hire, units: Units) -> str:
    """Write it: ``one 1 1/2 in square drive wrench giving at least 9,400 N·m at 700 bar, from … to …``."""
    count = _NUMBERS[asked.count] if asked.count < len(_NUMBERS) else str(asked.count)
    many = asked.count != 1
    days = f"from {show_day(asked.first_day)} to {show_day(asked.last_day)}"
    kind = PLURAL[asked.kind] if many else asked.kind.value
    to_fit = f", with couplings {asked.coupling}" if asked.coupling else ""
    if asked.kind is Kind.WRENCH:
        what = (
            f"{inches(asked.drive_mm)} square drive {kind}" if asked.drive_mm else f"hydraulic torque {kind}"
        )
        if asked.flats_mm and not asked.drive_mm:
            what = f"ratchet link {kind} for {in_both(asked.flats_mm)} across flats"
        what += f" giving at least {units.at_least(asked.needed_nm)} at {units.rating(asked.at_mpa)}"
    elif asked.kind is Kind.SOCKET and asked.flats_mm and asked.drive_mm:
        what = f"impact {kind} of {in_both(asked.flats_mm)} across flats for a {inches(asked.drive_mm)} drive"
    elif asked.kind is Kind.PUMP:
        what = f"{kind} with a relief setting of at most {units.rating(asked.at_mpa)}{to_fit}"
    elif asked.kind is Kind.GAUGE:
        what = f"{kind} with a range of at least {units.setting(asked.at_mpa)}"
    else:
        what = f"twin-line {kind} for {units.setting(asked.at_mpa)}{to_fit}"
    return f"{count} {what}, {days}"
