"""Years of rounds, quicker than life: machines that die, a server that fails, clocks that jump, standstills.

What is due is worked out here once more, by another library (dateutil), from the civil hour at each site.
"""

from __future__ import annotations

import bisect
import random
from collections import Counter, defaultdict
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from dateutil import tz
from sqlalchemy import select, update

from fleet import records
from fleet.mail.post import nobody_elses
from fleet.records.base import rows_of
from fleet.rounds import send_waiting, tick, write_due
from fleet.rules.letters import WEEKLY, Delivery, LetterState, Outcome
from tests.shop import Shop

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.mail.messages import TakenLetter
    from fleet.mail.post import StillOurs
    from fleet.room import Room

# Clocks change by an hour in the first two, by half an hour in the third, and never in the last.
ZONES = ("America/Chicago", "Europe/Berlin", "Australia/Lord_Howe", "Asia/Kolkata")
START = datetime(2026, 1, 5, tzinfo=UTC)
# Who answers for which sites; somebody who answers for two gets the letter of the first.
PEOPLE = {"A": (0, 2), "B": (1,), "C": (2,), "D": (3,)}
FAULTS = (Outcome.TRY_AGAIN, Outcome.NOT_REACHED, Outcome.OUR_CONFIGURATION)


class Death(BaseException):
    """The end of a process at this very point; nothing that handles errors may get hold of it."""


@dataclass
class Wall:
    """The machine's clock: off by ``off``, and the death of the process when it is read for the nth time."""

    true: datetime = START
    off: timedelta = timedelta(0)
    reads_left: int | None = None

    def __call__(self) -> datetime:
        if self.reads_left is not None:
            self.reads_left -= 1
            if self.reads_left < 0:
                self.reads_left = None
                raise Death
        return self.true + self.off


@dataclass
class Server:
    """A post whose every letter may meet with a fault, or with the death of its sender before or after."""

    chance: random.Random
    arrived: Counter[str] = field(default_factory=Counter)
    may_double: set[str] = field(default_factory=set)
    fault: Outcome | None = None
    deadly: bool = False
    last: str = ""

    @contextmanager
    def together(self) -> Iterator[None]:
        yield

    def send(self, letter: TakenLetter, still_ours: StillOurs = nobody_elses) -> Delivery:
        if self.fault:
            return Delivery(self.fault, "…")
        if not still_ours(letter):
            return Delivery(Outcome.NOT_OURS, "…")
        fate = self.chance.random()
        if self.deadly and fate < 0.1:
            raise Death
        if fate > 0.97:
            # Taken or not: the line broke before the answer.
            self.may_double.add(letter.message_id)
            self.arrived[letter.message_id] += self.chance.random() < 0.5
            return Delivery(Outcome.NO_ANSWER, "…")
        self.arrived[letter.message_id] += 1
        self.last = letter.message_id
        if self.deadly and fate < 0.2:
            raise Death
        return Delivery(Outcome.SENT, "250 OK")


@dataclass
class Years:
    """A room with a site in every zone, through ``weeks`` weeks of the luck that ``seed`` holds."""

    room: Room
    wall: Wall
    seed: int
    weeks: int
    whole: bool
    """Whole rounds, or only what sees to the weekly letters, which is quicker."""

    def __post_init__(self) -> None:
        self.chance = random.Random(self.seed)  # noqa: S311  Luck of a test.
        self.server = Server(self.chance)
        self.deaths = self.standstills = 0
        self.expected: set[tuple[str, str]] = set()
        # A round that died may have written before it did, a second before the hour of the next letter.
        self.possible: set[tuple[str, str]] = set()
        # Since when the room's own time stands, after a clock that was ahead.
        self.newest = START - timedelta(days=30)
        shop = Shop(self.room)
        hours = [(self.chance.randrange(7), self.chance.choice((0, 1, 2, 3, 6, 23))) for _ in ZONES]
        hours[2] = (6, 2)  # Sunday at two: the worst of hours.
        self.due = [moments(zone, *hour, self.weeks) for zone, hour in zip(ZONES, hours, strict=True)]
        sites = []
        for at, (zone, (weekday, hour)) in enumerate(zip(ZONES, hours, strict=True)):
            sites.append(shop.site(f"S{at}", time_zone=zone))
            rows = rows_of(records.SiteRow)
            with self.room.act() as db:
                told = {"letter_weekday": weekday, "letter_hour": hour}
                db.execute(update(rows).where(rows.c.id == sites[at]).values(told))
        for badge, homes in PEOPLE.items():
            person = shop.person(badge, sites[homes[0]], "keeper", address=f"{badge}@tool-room.example")
            for home in homes[1:]:
                shop.put(records.RoleRow, person_id=person, site_id=sites[home], role="keeper")

    def run(self) -> None:
        """Let the years pass."""
        standstill_until = fault_until = clock_off_until = START
        for moment in self._knocks():
            if moment < standstill_until:
                continue
            if self.chance.random() < 0.004:
                standstill_until = moment + timedelta(days=self.chance.uniform(0.1, 30))
                self.standstills += 1
            if moment >= fault_until:
                self.server.fault = None
                if self.chance.random() < 0.03:
                    self.server.fault = self.chance.choice(FAULTS)
                    fault_until = moment + timedelta(hours=self.chance.uniform(0.1, 40))
            if moment >= clock_off_until:
                self.wall.off = timedelta(0)
                if self.chance.random() < 0.02:
                    self.wall.off = timedelta(minutes=self.chance.uniform(-180, 180))
                    clock_off_until = moment + timedelta(hours=self.chance.uniform(0.1, 30))
            self._round(moment)

    def _knocks(self) -> list[datetime]:
        """When the rounds knock: around the hour of every letter, some time after it, and now and then."""
        knocks = {
            START + timedelta(hours=self.chance.uniform(0, 168 * self.weeks)) for _ in range(self.weeks)
        }
        for due in self.due:
            for moment, _ in due:
                if self.chance.random() < 0.3:
                    knocks.add(moment - timedelta(seconds=1))
                knocks.add(moment + timedelta(minutes=self.chance.choice((0, 0, 1, 7))))
                knocks.add(moment + timedelta(hours=self.chance.choice((0.4, 2, 30, 45))))
        end = START + timedelta(weeks=self.weeks)
        return sorted(knock for knock in knocks if knock < end)

    def _round(self, moment: datetime) -> None:
        """One round; after a death another process knocks a minute later, until one lives."""
        while True:
            self.wall.true = moment
            self.server.deadly = self.chance.random() < 0.05
            self.wall.reads_left = self.chance.randrange(40) if self.chance.random() < 0.05 else None
            shown = max(moment + self.wall.off, self.newest)
            try:
                self._go()
            except Death:
                # The letter last handed over may not have been marked.
                self.server.may_double.add(self.server.last)
                self.deaths += 1
                self.possible |= self._due_at(shown)
                moment += timedelta(minutes=1)
                continue
            finally:
                self.wall.reads_left = None
                self.newest = self._newest_entry()
            self.expected |= self._due_at(shown)
            return

    def _go(self) -> None:
        if self.whole:
            assert tick(self.room, self.server).failed == ()
            return
        assert write_due(self.room)[1] == []
        send_waiting(self.room, self.server, patient=True)

    def _newest_entry(self) -> datetime:
        """The room's own time never goes behind this (read from the day book, which writes with letters)."""
        entry = records.EntryRow.recorded_at
        with self.room.look() as db:
            newest = db.execute(select(entry).order_by(entry.desc()).limit(1)).scalar()
        return newest or self.newest

    def _due_at(self, shown: datetime) -> set[tuple[str, str]]:
        """Who has which week's letter after a round at this time: that of the newest letter hour at home."""
        found = set()
        for badge, homes in PEOPLE.items():
            due = self.due[homes[0]]
            at = bisect.bisect_right(due, (shown, "~")) - 1
            if at >= 0:
                found.add((badge, due[at][1]))
        return found

    def judge(self) -> tuple[int, int]:
        """Every letter was written once, and arrived once but for the named cases.

        Answers how many, and how many had to be set aside since a standstill lasted into the next week.
        """
        letter, person = records.LetterRow, records.PersonRow
        asked = (
            select(person.badge, letter.week, letter.message_id, letter.state, letter.last_answer)
            .join(person, person.id == letter.person_id)
            .where(letter.kind == WEEKLY, letter.forwards_id.is_(None))
        )
        with self.room.look() as db:
            rows = db.execute(asked).all()
        written = [(row.badge, row.week) for row in rows]
        assert len(set(written)) == len(written), "nobody got two letters in a week"
        assert self.expected <= set(written) <= self.expected | self.possible, "letters = weeks × people"
        aside = defaultdict(list)
        for row in rows:
            came = self.server.arrived[row.message_id]
            if row.state == LetterState.SENT:
                assert 1 <= came <= (2 if row.message_id in self.server.may_double else 1)
            else:
                aside[row.last_answer].append((row.badge, row.week, came))
        left = sum(len(ones) for why, ones in aside.items() if not _explained(why))
        # The newest letters may still wait when the years are over.
        assert left <= len(PEOPLE), aside
        return len(rows), sum(map(len, aside.values()))


def _explained(why: str | None) -> bool:
    return bool(why) and any(words in str(why) for words in ("takes its place", "Handed over"))


def moments(zone: str, weekday: int, hour: int, weeks: int) -> list[tuple[datetime, str]]:
    """Each week's letter hour in UTC and the week's name, by dateutil; from a few weeks before the start.

    An hour that clocks skip is the one after; of an hour that comes twice it is the first.
    """
    found = []
    there = tz.gettz(zone)
    monday = datetime(2025, 12, 1)  # noqa: DTZ001  A civil day; its zone comes with the hour.
    for _ in range(weeks + 12):
        at = tz.resolve_imaginary((monday + timedelta(days=weekday, hours=hour)).replace(tzinfo=there))
        year, week, _day = monday.isocalendar()
        found.append((at.astimezone(UTC), f"{year}-W{week:02d}"))
        monday += timedelta(weeks=1)
    return found
