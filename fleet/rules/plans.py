"""A plan of a period as it is kept: which kit for which joint and when, what goes unserved, how good it is.

It is kept as it was made, as JSON; nothing in it is reserved until a person accepts it.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from fleet.refusals import Unreadable


@dataclass(frozen=True, slots=True)
class PlannedKit:
    """The tags of one whole kit; ``rest`` holds its hose, couplers and socket."""

    wrench: str
    pump: str
    gauge: str
    rest: tuple[str, ...]

    @property
    def tags(self) -> tuple[str, ...]:
        """Every item of the kit."""
        return (self.wrench, self.pump, self.gauge, *self.rest)


@dataclass(frozen=True, slots=True)
class PlannedPart:
    """One joint of a job with its time [starts_at, ends_at) and its kits."""

    job: str
    joint: str
    starts_at: datetime
    ends_at: datetime
    kits: tuple[PlannedKit, ...]


@dataclass(frozen=True, slots=True)
class NotServed:
    """One joint that gets no kit, or is not planned at all, and why."""

    job: str
    joint: str
    why: str


@dataclass(frozen=True, slots=True)
class StageLine:
    """One aim of the plan: the value reached, and what no plan can be lower than."""

    aim: str
    value: int
    bound: int
    proven: bool


@dataclass(frozen=True, slots=True)
class ScoreLine:
    """How good a plan is: joints unserved, kits used, and N·m given above what was needed."""

    unserved: int
    kits: int
    oversize_nm: int


@dataclass(frozen=True, slots=True)
class SitePlan:
    """The plan of one site. ``kept`` names joints that have their kits already, which stay as they are.

    ``left_out`` are joints that could not be planned, ``aside`` items that could not be planned with, as
    sentences. ``stopped`` says that the search ended before everything was proven.
    """

    site: str
    time_zone: str
    parts: tuple[PlannedPart, ...]
    unserved: tuple[NotServed, ...]
    left_out: tuple[NotServed, ...]
    kept: tuple[str, ...]
    aside: tuple[str, ...]
    hires: tuple[str, ...]
    stages: tuple[StageLine, ...]
    score: ScoreLine
    first_come: ScoreLine
    stopped: bool


@dataclass(frozen=True, slots=True)
class Draft:
    """A plan before it is kept: the period [starts_at, ends_at), the step of start times, and each site."""

    starts_at: datetime
    ends_at: datetime
    grid_hours: float
    sites: tuple[SitePlan, ...]

    @property
    def codes(self) -> str:
        """The codes of its sites, as they are kept."""
        return ", ".join(one.site for one in self.sites)


def write_body(sites: tuple[SitePlan, ...], grid_hours: float) -> str:
    """Write what is kept of a plan beside its period."""
    body = {"grid_hours": grid_hours, "sites": [asdict(one) for one in sites]}
    return json.dumps(body, ensure_ascii=False, default=datetime.isoformat)


def read_body(text: str) -> tuple[tuple[SitePlan, ...], float]:
    """Read what ``write_body`` wrote. Raises ``Unreadable`` for anything else."""
    try:
        body = json.loads(text)
        return tuple(_site(one) for one in body["sites"]), float(body["grid_hours"])
    except (ValueError, KeyError, TypeError) as error:
        raise Unreadable("What is kept of this plan cannot be read; make it anew.") from error


def _site(kept: dict[str, Any]) -> SitePlan:
    lists: dict[str, Any] = {name: tuple(kept[name]) for name in ("kept", "aside", "hires")}
    lists |= {name: tuple(NotServed(**one) for one in kept[name]) for name in ("unserved", "left_out")}
    lists |= {name: ScoreLine(**kept[name]) for name in ("score", "first_come")}
    stages = tuple(StageLine(**one) for one in kept["stages"])
    parts = tuple(_part(one) for one in kept["parts"])
    plain = {name: kept[name] for name in ("site", "time_zone", "stopped")}
    return SitePlan(**plain, **lists, stages=stages, parts=parts)


def _part(kept: dict[str, Any]) -> PlannedPart:
    starts_at, ends_at = (datetime.fromisoformat(kept[name]) for name in ("starts_at", "ends_at"))
    kits = tuple(PlannedKit(k["wrench"], k["pump"], k["gauge"], tuple(k["rest"])) for k in kept["kits"])
    return PlannedPart(kept["job"], kept["joint"], starts_at, ends_at, kits)
