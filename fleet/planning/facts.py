"""What a plan is made of: the works of a shutdown, the pieces of the room, and what is settled already."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date, datetime
    from zoneinfo import ZoneInfo

    from fleet.bolting.parts import Kind


@dataclass(frozen=True, slots=True)
class Work:
    """One joint or job that needs kits for ``duration`` somewhere in [earliest_start_at, latest_end_at)."""

    key: str
    drives: tuple[str, ...]
    """The square drives and ratchet links that fit its nuts, named as the wrenches name theirs."""
    needed_nm: float
    """The larger of what tightening and loosening need."""
    earliest_start_at: datetime
    latest_end_at: datetime
    duration: timedelta
    kits: int = 1
    """How many kits work on it at once, each with a pump of its own."""


@dataclass(frozen=True, slots=True)
class Busy:
    """A time [starts_at, ends_at) in which a piece is reserved for something outside the plan."""

    starts_at: datetime
    ends_at: datetime


@dataclass(frozen=True, slots=True)
class Wrench:
    """One wrench: what it fits, what it gives with a pump of its pool, and when it may be used."""

    tag: str
    drive: str
    gives_nm: float
    """The most it gives at the pressure of its pool, from its chart."""
    pump_pool: str
    """The pumps that go with it: one pressure class and connection."""
    gauge_pool: str | None
    """The gauges that go with it; None where gauges stay on their pumps."""
    due_on: date | None = None
    """The first day on which something falls due: it works through that day. None: nothing in sight."""
    busy: tuple[Busy, ...] = ()


@dataclass(frozen=True, slots=True)
class PoolPiece:
    """One pump or gauge of a pool."""

    tag: str
    kind: Kind
    pool: str
    due_on: date | None = None
    busy: tuple[Busy, ...] = ()


@dataclass(frozen=True, slots=True)
class Kit:
    """The tags of one kit; the gauge is None where the wrench's gauges stay on their pumps."""

    wrench: str
    pump: str
    gauge: str | None


@dataclass(frozen=True, slots=True)
class Part:
    """One work of a plan with its time and its kits."""

    work: str
    starts_at: datetime
    ends_at: datetime
    kits: tuple[Kit, ...]


@dataclass(frozen=True, slots=True)
class PlanFacts:
    """Everything a plan is made from."""

    zone: ZoneInfo
    """The time zone of the site, in which its days begin and end."""
    works: tuple[Work, ...]
    wrenches: tuple[Wrench, ...]
    pool_pieces: tuple[PoolPiece, ...]
    """The pumps and gauges."""
    kept: tuple[Part, ...] = ()
    """Parts of an earlier plan that were accepted and stay as they are."""


@dataclass(frozen=True, slots=True)
class Limits:
    """How long may be searched, and how finely start times are tried.

    What is proven best does not depend on the machine; what the time cuts off may.
    """

    seconds: float = 60.0
    start_grid: timedelta = field(default=timedelta(hours=4))
    """A work with slack is tried at its earliest start and at every step of this after it."""
    threads: int = 2
    """How many parts of the fleet that share no wrench are worked on at the same time."""
