"""What is asked of a kit search, and what it answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date, datetime

    from fleet.lists.jobs import JobLine
    from fleet.lists.kits import Window
    from fleet.lists.sites import SiteLine
    from fleet.rules.kit_search import Limits, Offer
    from fleet.rules.kits import JointFacts, KitVerdict
    from fleet.rules.loans import Verdict


@dataclass(frozen=True, slots=True)
class Asked:
    """A joint, its limits, the window, the margin as a share of what a kit can give, and how many answers."""

    job: JobLine
    site: SiteLine
    joint: JointFacts
    limits: Limits
    window: Window
    margin: float
    alternatives: int
    now: datetime

    @property
    def today(self) -> date:
        """The day at the site."""
        return self.site.today(self.now)

    @property
    def first_day(self) -> date:
        """The first day of the window that is still to come."""
        return max(self.window.first_day, self.today)


@dataclass(frozen=True, slots=True)
class FoundKit:
    """One kit that passed the gate: its pieces from the wrench on, and both verdicts."""

    pieces: tuple[Offer, ...]
    models: tuple[str, ...]
    oversize_percent: int
    moves: int
    due_on: date | None
    """The first day on which something of it is due."""
    verdict: KitVerdict
    items: tuple[Verdict, ...]

    @property
    def to_reserve(self) -> tuple[str, ...]:
        """The tags that are not yet kept for the job."""
        return tuple(piece.tag for piece in self.pieces if not piece.kept)


@dataclass(frozen=True, slots=True)
class Alternative:
    """As many kits as work on the joint at once."""

    kits: tuple[FoundKit, ...]

    @property
    def to_reserve(self) -> tuple[str, ...]:
        """The tags of all its kits that are not yet kept for the job."""
        return tuple(tag for kit in self.kits for tag in kit.to_reserve)


@dataclass(frozen=True, slots=True)
class KitAnswer:
    """The alternatives, best first; where there is none, what fails for how many, and what to hire."""

    joint: str
    first_day: date
    last_day: date
    needed_nm: float
    margin_percent: float
    at_once: int
    alternatives: tuple[Alternative, ...]
    tallies: tuple[str, ...]
    hire: tuple[str, ...]
    unknown_sizes: tuple[str, ...]
    """Models that do not count as fitting, because a size that the joint limits is not on record."""
    stopped: tuple[tuple[str, str, int], ...]
    """What looked free and was stopped at the gate: kind, short reason, how many."""
