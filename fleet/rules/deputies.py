"""Who is told instead of somebody who is away, and who can be a deputy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.refusals import NotPossible
from fleet.rules.readers import usable_address

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping
    from datetime import date


@dataclass(frozen=True, slots=True)
class Colleague:
    """Somebody as far as letters go. ``sites``: id and code of every site where they have a role."""

    id: int
    badge: str
    name: str
    address: str | None
    active: bool
    sites: tuple[tuple[int, str], ...]

    @property
    def reachable(self) -> bool:
        """Whether a letter to them can be read by them."""
        return self.active and usable_address(self.address)


@dataclass(frozen=True, slots=True)
class Days:
    """From one civil day through another."""

    first: date
    last: date

    def __str__(self) -> str:
        """As people write it."""
        return f"{self.first} through {self.last}"


def told_instead(away: Mapping[int, int], reachable: Collection[int]) -> dict[int, int]:
    """Who is told instead of whom. ``away``: the deputy of everybody who is away on one day.

    A deputy who is away too is followed by their own. Where nobody reachable stands at the end, or the
    deputies go round in a circle, people keep their own letters: a letter is never left without a reader.
    """
    found = {}
    for person in away:
        passed = {person}
        last = away[person]
        while last in away and last not in passed:
            passed.add(last)
            last = away[last]
        if last not in passed and last in reachable:
            found[person] = last
    return found


def lacking(person: Colleague, deputy: Colleague) -> str | None:
    """What keeps somebody from being the deputy of a person, in words that follow their name; or nothing."""
    if deputy.id == person.id:
        return "cannot be their own deputy"
    if not deputy.active:
        return "is no longer active"
    if not usable_address(deputy.address):
        return "has no e-mail address to which a letter can be sent"
    missing = [code for _, code in person.sites if code not in {own for _, own in deputy.sites}]
    return f"has no role at {' and '.join(missing)}" if missing else None


def check_deputy(person: Colleague, deputy: Colleague) -> None:
    """Refuse a deputy who could not read the letters, or may not see what stands in them."""
    if trouble := lacking(person, deputy):
        raise NotPossible(
            f"{deputy.name} {trouble}; the deputy of {person.name} is another active person with an e-mail "
            f"address and a role at every site where {person.name} has one."
        )


def check_days(days: Days, known: Iterable[Days], name: str, today: date) -> None:
    """Refuse an absence that ends before it begins, lies in the past, or overlaps another of the person."""
    if days.last < days.first:
        raise NotPossible(f"An absence from {days.first} cannot end on {days.last}; check the days.")
    if days.first < today:
        raise NotPossible(
            f"An absence cannot begin on {days.first}, because today is {today} and the letters until then "
            "were sent; begin it today or later."
        )
    for other in known:
        if days.first <= other.last and other.first <= days.last:
            raise NotPossible(
                f"{name} is away from {other} already; choose days outside that, or end it first with: "
                "fleet deputy back"
            )
