"""When a letter that nobody said they had read, or that was lost, is passed on to somebody else."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from fleet.measures.times import local_day
from fleet.rules.letters import WEEKLY, LetterState

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from zoneinfo import ZoneInfo

_NOON = time(12)


class Why(StrEnum):
    """Why a letter is passed on."""

    UNREAD = "not acknowledged"
    LOST = "undeliverable"


@dataclass(frozen=True, slots=True)
class Link:
    """A letter as far as passing on goes; one that passes another on names it in ``forwards_id``.

    ``sha256`` names what it says, which its copies say too. ``read``: somebody said that they read it.
    ``until``: the next working noon at its site after it was sent. ``set_aside``: it was never sent, because
    a newer one took its place.
    """

    id: int
    forwards_id: int | None
    kind: str
    site_id: int
    week: str
    person_id: int | None
    address: str
    sha256: str
    state: str
    sent_at: datetime | None
    last_answer: str | None
    set_aside: bool
    read: bool
    until: datetime | None


@dataclass(frozen=True, slots=True)
class Step:
    """A letter that is to be passed on now. ``chain``: it and those that it passes on, the first one last."""

    chain: tuple[Link, ...]
    why: Why

    @property
    def letter(self) -> Link:
        """The letter that is passed on."""
        return self.chain[0]

    @property
    def first(self) -> Link:
        """The letter with which it began."""
        return self.chain[-1]


def next_working_noon(sent_at: datetime, zone: ZoneInfo, working_days: str) -> datetime:
    """Noon at the site of the next working day after the day on which a letter was sent, in UTC.

    ``working_days`` are ISO weekdays as figures. Clocks are changed at night, so every day has one noon.
    """
    sent_on = local_day(sent_at, zone)
    coming = [sent_on + timedelta(days=after) for after in range(1, 8)]
    day = next((day for day in coming if str(day.isoweekday()) in working_days), coming[0])
    return datetime.combine(day, _NOON, zone).astimezone(UTC)


def open_chains(letters: Sequence[Link]) -> list[tuple[Link, ...]]:
    """Letters that still wait for somebody to say that they were read, each with those that it passes on.

    Whoever says so of one letter closes all that it passes on and that pass it on, and its copies. A weekly
    letter is overtaken by a newer one to the same person, and an earlier copy by a later one.
    """
    by_id = {letter.id: letter for letter in letters}
    chains = {letter.id: _chain(letter, by_id) for letter in letters}
    matters = {letter.id: _matter(letter) for letter in letters if letter.forwards_id is None}
    closed = {matters.get(chain[-1].id) for chain in chains.values() if chain[0].read}
    latest: dict[object, int] = {}
    newest: dict[int, str] = {}
    for letter in letters:
        if letter.forwards_id is None:
            latest[matters[letter.id]] = max(letter.id, latest.get(matters[letter.id], 0))
            if letter.kind == WEEKLY and letter.person_id is not None:
                newest[letter.person_id] = max(letter.week, newest.get(letter.person_id, ""))
    found = []
    for chain in chains.values():
        first = chain[-1]
        overtaken = first.kind == WEEKLY and first.week < newest.get(first.person_id or 0, "")
        matter = matters.get(first.id)
        if matter is not None and matter not in closed and latest[matter] == first.id and not overtaken:
            found.append(chain)
    return found


def to_pass_on(letters: Sequence[Link], now: datetime) -> list[Step]:
    """What is to be passed on now: sent and unread past its noon, or lost. Each letter once.

    What went to a spare address, which is nobody's, goes no further.
    """
    passed = {letter.forwards_id for letter in letters}
    steps = []
    for chain in open_chains(letters):
        letter = chain[0]
        if letter.person_id is None or letter.id in passed:
            continue
        if letter.state == LetterState.SENT and letter.until is not None and now >= letter.until:
            steps.append(Step(chain, Why.UNREAD))
        elif letter.state == LetterState.UNDELIVERABLE and not letter.set_aside:
            steps.append(Step(chain, Why.LOST))
    return steps


def _chain(letter: Link, by_id: Mapping[int, Link]) -> tuple[Link, ...]:
    chain = [letter]
    while (before := by_id.get(chain[-1].forwards_id or 0)) is not None:
        chain.append(before)
    return tuple(chain)


def _matter(first: Link) -> tuple[object, ...]:
    """What all copies of one letter to one person have in common."""
    return first.kind, first.site_id, first.week, first.sha256, first.person_id or first.address.casefold()
