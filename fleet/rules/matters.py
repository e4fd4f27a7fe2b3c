"""Matters that cannot wait for the week: who is told of each at once, and what waits until the morning."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import UTC, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from fleet.rules.readers import usable_address
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping
    from datetime import date, datetime
    from zoneinfo import ZoneInfo

    from fleet.rules.readers import Reader

AT_ONCE = "at once"
# What still stands after so many days is passed on: to the safety officers, then to the spare address.
PASSED_ON_AFTER = (7, 14)
# What stands against a reservation is told when it begins within this time, as in the weekly letter.
CONFLICTS_AHEAD = timedelta(weeks=4)
# A kit is said to be ready when it is wanted within a day, or was to be fetched within the last one.
READY_AROUND = timedelta(hours=24)
# How long it is told that a reservation was given up.
TOLD_FOR = timedelta(days=7)


class MatterKind(StrEnum):
    """What is the matter; those that can hurt somebody come first."""

    RECALL = "recall"
    HOLD = "hold"
    FAILED = "failed"
    LATE = "late"
    AGAINST = "against"
    EXPIRES = "expires"
    READY = "ready"
    ENDED = "ended"

    @property
    def urgent(self) -> bool:
        """Whether it is told day and night."""
        return self in (MatterKind.HOLD, MatterKind.RECALL, MatterKind.FAILED)


# Who is told of what concerns tools. What is still out is passed on to others; nobody is told of it twice.
_TOLD: Mapping[MatterKind, tuple[frozenset[str], ...]] = {
    MatterKind.HOLD: (frozenset({Role.KEEPER, Role.SAFETY}), frozenset({Role.SAFETY}), frozenset()),
    MatterKind.RECALL: (frozenset({Role.KEEPER, Role.SAFETY}),),
    MatterKind.FAILED: (frozenset({Role.KEEPER, Role.SAFETY}),),
    MatterKind.LATE: (frozenset({Role.KEEPER}), frozenset({Role.SAFETY}), frozenset()),
}


@dataclass(frozen=True, slots=True)
class Matter:
    """One thing that stands now at one site.

    ``number`` and ``detail`` name it for good: what was told under that name is not told again. ``head`` is
    the tag or the job it is about; ``day`` since when it stands, or when what is reserved begins. ``owners``
    are the ids of who holds the item or who reserved it, ``owner`` their names; ``level`` how far it has been
    passed on by now.
    """

    kind: MatterKind
    number: int
    site_id: int
    head: str
    what: str
    sentence: str
    where: str
    day: date
    owners: tuple[int, ...] = ()
    owner: str = ""
    level: int = 0
    detail: str = ""

    @property
    def key(self) -> str:
        """Its name on record: ``hold 12``."""
        return f"{self.kind} {self.number} {self.detail}".rstrip()


@dataclass(frozen=True, slots=True)
class Staff:
    """Who may have to be told at one site. ``spare`` is told when nobody else can be.

    ``people``: everybody active by id, with the roles they have there, which may be none. ``instead``: person
    to the person who is told instead today.
    """

    people: Mapping[int, Reader]
    spare: Reader
    instead: Mapping[int, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Telling:
    """One matter that one reader is to be told now.

    ``own``: the reader holds the item or reserved it; ``instead_of`` names whoever is away and would be told.
    """

    matter: Matter
    level: int
    reader: Reader
    own: bool = False
    instead_of: str = ""

    @property
    def can_wait(self) -> bool:
        """Whether it may wait for the morning; what is passed on has waited for days already."""
        return self.level > 0 or not self.matter.kind.urgent


def level_after(days: int) -> int:
    """How far a matter is passed on that has stood for so many days."""
    return sum(days >= after for after in PASSED_ON_AFTER)


def tellings(matter: Matter, staff: Staff, told: Collection[str]) -> Iterator[Telling]:
    """Who is still to be told of a matter. ``told``: the badges of those who were.

    Every level has somebody who can be written to, or the spare address: silence must not be possible. A
    letter that proves undeliverable is passed on like any other.
    """
    had = set(told)
    for level in range(matter.level + 1):
        found = [*_readers(matter, level, staff)]
        if not found:
            found = [Telling(matter, level, staff.spare)]
        if level == 0 and matter.kind is MatterKind.HOLD:
            # Whoever holds it stops its use; that makes up for nobody who must see to it.
            found = [*_holders(matter, staff), *found]
        for one in found:
            if one.reader.badge not in had:
                had.add(one.reader.badge)
                yield one


def _readers(matter: Matter, level: int, staff: Staff) -> Iterator[Telling]:
    """Those of a level who can be written to, or who stand in for one of them."""
    for person in _wanted(matter, level, staff):
        to = _reached(person, staff)
        if to:
            own = person.person_id in matter.owners
            yield Telling(matter, level, to, own, "" if to is person else person.name)


def _wanted(matter: Matter, level: int, staff: Staff) -> list[Reader]:
    people = staff.people.values()
    if matter.kind in _TOLD:
        return [person for person in people if person.roles & _TOLD[matter.kind][level]]
    reserved = [person for person in people if person.roles and person.person_id in matter.owners]
    reached = [person for person in reserved if _reached(person, staff)]
    return reached or [person for person in people if Role.PLANNER in person.roles]


def _holders(matter: Matter, staff: Staff) -> Iterator[Telling]:
    for owner in matter.owners:
        person = staff.people.get(owner)
        if person and usable_address(person.address):
            yield Telling(matter, 0, person, own=True)


def _reached(person: Reader, staff: Staff) -> Reader | None:
    deputy = staff.people.get(staff.instead.get(person.person_id, 0))
    if deputy and usable_address(deputy.address):
        return deputy
    return person if usable_address(person.address) else None


def is_quiet(now: datetime, there: ZoneInfo, from_hour: int, until_hour: int) -> bool:
    """Whether the clock on the wall stands within [from, until), be it over midnight; equal hours: never.

    When clocks go back, an hour that comes twice is quiet both times.
    """
    hour = now.astimezone(there).hour
    if from_hour <= until_hour:
        return from_hour <= hour < until_hour
    return hour >= from_hour or hour < until_hour


def next_working_day(day: date, working_days: str) -> date:
    """The first working day after this one. ``working_days``: ISO weekdays as figures, ``12345``."""
    after = [day + timedelta(days=ahead) for ahead in range(1, 8)]
    return next((one for one in after if str(one.isoweekday()) in working_days), after[0])


def minute_name(now: datetime) -> str:
    """The minute of a letter at once, in UTC, as an ISO 8601 week date: ``2026-W20-3T0714``."""
    return f"{now.astimezone(UTC):%G-W%V-%uT%H%M}"


def conflict_name(code: str, sentence: str) -> str:
    """Names what stands against a reservation, so that each sentence is told once."""
    return hashlib.sha256(f"{code}\0{sentence}".encode()).hexdigest()[:12]
