"""Tokens for programs and calendars: what each may be for, and for how long.

A token never does more than its person may at that moment; its scopes and its site only narrow that.
"""

from __future__ import annotations

from datetime import timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Iterable

USUAL_DAYS, MOST_DAYS = 90, 365
# One day: whoever lifts a stop was sure to be that person when the token was made, and no longer ago.
MOST_DAYS_FOR_EXCEPTIONS = 1
LONGEST_NAME = 60


class Scope(StrEnum):
    """What a token is for.

    Releasing a hold and granting a concession lift what keeps people safe. On the pages the person proves
    anew who they are; a program cannot, so a token for that lives for a day at most.
    """

    READ = "read"
    COUNTER = "counter"
    PLAN = "plan"
    UPKEEP = "upkeep"
    REVIEW = "review"
    EXCEPTIONS = "exceptions"
    CALENDAR = "calendar"


MEANING = {
    Scope.READ: "read the lists, check kits, calculate",
    Scope.COUNTER: "issue, take back, book use",
    Scope.PLAN: "reserve and set free",
    Scope.UPKEEP: "upkeep, inspections, holds, sending away",
    Scope.REVIEW: "say that letters were read",
    Scope.EXCEPTIONS: "release holds and grant concessions, for one day",
}
"""What a program's token may be for, as its maker reads it; a calendar's is made by itself."""


def check_token(name: str, scopes: Iterable[Scope], days: int) -> tuple[Scope, ...]:
    """The scopes in order, when such a token may be made."""
    chosen = tuple(scope for scope in Scope if scope in set(scopes))
    if not 0 < len(name.strip()) <= LONGEST_NAME or not name.isprintable():
        raise NotPossible(f"Give the token a name of at most {LONGEST_NAME} characters.")
    if not chosen or Scope.CALENDAR in chosen:
        raise NotPossible("Choose what the token is for; a calendar's link is made by itself.")
    if not 1 <= days <= MOST_DAYS:
        raise NotPossible(f"A token lasts from 1 to {MOST_DAYS} days.")
    if Scope.EXCEPTIONS in chosen and days > MOST_DAYS_FOR_EXCEPTIONS:
        raise NotPossible("A token that releases holds or grants concessions lasts for one day at most.")
    return chosen


def ends_after(days: int) -> timedelta:
    """How long such a token lasts."""
    return timedelta(days=days)
