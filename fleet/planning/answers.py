"""What a plan says: who gets which kit, what stays unserved and why, and how far this is from the best."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date, timedelta

    from fleet.bolting.parts import Kind
    from fleet.planning.facts import Part


class Aim(StrEnum):
    """What is made as small as can be, the first before the second before the third."""

    UNSERVED = "works unserved"
    KITS = "kits"
    OVERSIZE = "oversize"


@dataclass(frozen=True, slots=True, order=True)
class Score:
    """How good a plan is; of two, the lesser is the better."""

    unserved: int
    """Works without kits."""
    kits: int
    """Wrenches used at all, those of the kept parts included; each makes one kit."""
    oversize_nm: int
    """Over all kits: what the wrench gives above the need, each rounded to a whole N·m."""

    def of(self, aim: Aim) -> int:
        """Answer the figure of one aim."""
        return {Aim.UNSERVED: self.unserved, Aim.KITS: self.kits, Aim.OVERSIZE: self.oversize_nm}[aim]


@dataclass(frozen=True, slots=True)
class Progress:
    """Where the search stands: within an aim the value only falls and the bound only rises."""

    aim: Aim
    value: int
    bound: int


@dataclass(frozen=True, slots=True)
class Stage:
    """One aim, given the values of the aims before it, on the plan's grid of start times."""

    aim: Aim
    value: int
    bound: int
    """No plan that is as good in the aims before can be lower than this."""

    @property
    def proven(self) -> bool:
        """Whether the value is the best there is."""
        return self.value <= self.bound

    @property
    def gap(self) -> int:
        """How far the value may be from the best at most."""
        return max(0, self.value - self.bound)


class Shortage(StrEnum):
    """The first condition that fails for an unserved work."""

    NO_DRIVE = "no wrench fits"
    TOO_WEAK = "no wrench that fits is strong enough"
    TOO_FEW = "too few wrenches that are strong enough"
    WRENCHES_DUE = "wrenches fall due before it ends"
    WRENCHES_RESERVED = "wrenches are reserved for something else"
    WRENCHES_TAKEN = "wrenches are on other works"
    PUMPS_SHORT = "no pump for the wrench"
    GAUGES_SHORT = "no gauge for the pump"


@dataclass(frozen=True, slots=True)
class Unserved:
    """A work without kits, why, and how many pieces would have to be hired for it alone."""

    work: str
    shortage: Shortage
    wrenches_short: int
    pumps_short: int
    gauges_short: int


@dataclass(frozen=True, slots=True)
class Hire:
    """Pieces that, hired from ``first_day`` through ``last_day``, leave no work unserved with the others."""

    kind: Kind
    drive: str | None
    """Wrenches: the drive asked for."""
    at_least_nm: float | None
    """Wrenches: the torque they have to give."""
    pump_pool: str | None
    """Wrenches and pumps: the pressure class and connection; None when any that suits the wrench will do."""
    gauge_pool: str | None
    """Wrenches and gauges: likewise."""
    count: int
    first_day: date
    last_day: date


@dataclass(frozen=True, slots=True)
class Plan:
    """The best plan found."""

    parts: tuple[Part, ...]
    """The works that are served, the kept ones included, by their start."""
    unserved: tuple[Unserved, ...]
    score: Score
    stages: tuple[Stage, ...]
    """One for each aim, in order."""
    first_come: Score
    """What serving the works by their earliest start, with the smallest free kit, would have given."""
    ejecting: Score
    """The same, but where nothing is free, the work in progress that would end last gives way."""
    hires: tuple[Hire, ...]
    start_grid: timedelta
    """Works with slack were tried at these steps only; between them a better plan may lie."""
    stopped: bool
    """Whether the search was stopped or ran out of time before everything was proven."""

    @property
    def proven(self) -> bool:
        """Whether no better plan exists on the grid of start times."""
        return all(stage.proven for stage in self.stages)
