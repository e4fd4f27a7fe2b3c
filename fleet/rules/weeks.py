"""Weeks and items: what each item is kept for, where it is and what falls due, and what a job still lacks."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from fleet.measures.times import iso_week, show_day
from fleet.refusals import Unreadable

if TYPE_CHECKING:
    from datetime import date

USUAL_WEEKS, MOST_WEEKS = 8, 53


class Sort(StrEnum):
    """What a stretch of days stands for, in the words in which it is shown."""

    RESERVED = "reserved"
    OUT = "out"
    HOLD = "on hold"
    AWAY = "away"
    DUE = "due"
    SHORT = "short"


@dataclass(frozen=True, slots=True)
class Period:
    """Whole weeks, from a Monday to a Sunday."""

    first_day: date
    weeks: int

    @property
    def last_day(self) -> date:
        """The Sunday on which it ends."""
        return self.first_day + timedelta(days=7 * self.weeks - 1)

    @property
    def mondays(self) -> tuple[date, ...]:
        """The day on which each of its weeks begins."""
        return tuple(self.first_day + timedelta(weeks=at) for at in range(self.weeks))

    def holds(self, first_on: date, last_on: date) -> bool:
        """Whether any of these days lies in it."""
        return first_on <= self.last_day and self.first_day <= last_on


def make_period(first: date, weeks: int) -> Period:
    """The weeks from that in which a day lies. Raises ``Unreadable`` for none, or for more than a year."""
    if not 1 <= weeks <= MOST_WEEKS:
        raise Unreadable(f"{weeks} weeks cannot be shown: ask for 1 to {MOST_WEEKS}.")
    return Period(first - timedelta(days=first.weekday()), weeks)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Days of one item, both ends included; they may reach beyond the weeks that are shown.

    ``mark`` is short enough to stand in a picture: the job's code, or the name of the task. ``told`` is all
    there is to say. ``last_on`` is empty where nobody knows the end.
    """

    sort: Sort
    first_on: date
    last_on: date | None
    mark: str
    told: str

    def within(self, first: date, last: date) -> bool:
        """Whether any of its days lies from ``first`` to ``last``."""
        return self.first_on <= last and (self.last_on is None or first <= self.last_on)


@dataclass(frozen=True, slots=True)
class ItemWeeks:
    """One item and what stands against it in the weeks shown, by its first day."""

    tag: str
    kind: str
    model: str
    serial: str
    stretches: tuple[Stretch, ...]


@dataclass(frozen=True, slots=True)
class Shortage:
    """A joint of a job to come for which fewer wrenches are kept than it takes."""

    job: str
    joint: str
    torque_written: str
    first_on: date
    last_on: date
    wanted: int
    kept: int

    @property
    def missing(self) -> int:
        """How many wrenches are still to be found."""
        return self.wanted - self.kept

    @property
    def stretch(self) -> Stretch:
        """It as a stretch of its job's days."""
        wrenches = "1 wrench" if self.missing == 1 else f"{self.missing} wrenches"
        told = f"{self.job}, {self.joint}: {wrenches} short for {self.torque_written}"
        return Stretch(Sort.SHORT, self.first_on, self.last_on, f"{wrenches} short", told)


@dataclass(frozen=True, slots=True)
class Weeks:
    """The weeks of a site: every item that was asked for, and the joints without a wrench."""

    site: str
    site_name: str
    today: date
    period: Period
    items: tuple[ItemWeeks, ...]
    shortages: tuple[Shortage, ...]


def say_stretch(stretch: Stretch) -> str:
    """One stretch in words: ``reserved for NB-142, 17 May 2026 to 21 May 2026``."""
    first = show_day(stretch.first_on)
    if stretch.sort is Sort.DUE:
        return stretch.told  # It names its day itself.
    if stretch.last_on is None:
        return f"{stretch.told}, from {first}"
    if stretch.last_on == stretch.first_on:
        return f"{stretch.told}, {first}"
    return f"{stretch.told}, {first} to {show_day(stretch.last_on)}"


def say_week(stretches: tuple[Stretch, ...], monday: date) -> str:
    """What stands in the cell of one week: the job for which an item is kept, else in a word what it is.

    What is out for a job is not said to be kept for it as well.
    """
    shown = [one for one in stretches if one.within(monday, monday + timedelta(days=6))]
    out_for = {one.mark for one in shown if one.sort is Sort.OUT}
    words = []
    for one in shown:
        if one.sort is Sort.OUT:
            words.append(f"{one.sort} {one.mark}")
        elif one.sort is not Sort.RESERVED:
            words.append(str(one.sort))
        elif one.mark not in out_for:
            words.append(one.mark)
    return ", ".join(dict.fromkeys(words))


def head(monday: date) -> str:
    """How a week is headed: ``W20 11 May``."""
    return f"{iso_week(monday)[5:]} {show_day(monday).rpartition(' ')[0]}"
