"""Who may inspect and test what: a competence is of one person, for one task on one kind, until a day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from fleet.measures.times import show_day
from fleet.refusals import NotAllowed, NotPossible
from fleet.rules.nearest import hint

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

BEFORE_USE = "inspection before use"
PROOF_TEST = "proof test"
# What a competence may be for besides the upkeep tasks of a kind.
ALWAYS = (BEFORE_USE, PROOF_TEST)
# A competence that ends within this time is shown in time to renew it.
SOON_DAYS = 60
# Longer than this is a slip of the pen (a policy of this program, no source).
MOST_YEARS = 10


@dataclass(frozen=True, slots=True)
class Held:
    """One competence that nobody has ended; it counts through ``expires_on``."""

    person_id: int
    person: str
    task: str
    expires_on: date
    active: bool = True

    def counts(self, today: date) -> bool:
        """Whether it lets its person work on that day."""
        return self.active and self.expires_on >= today


def require_competence(
    person: tuple[int | None, str],
    kind: str,
    tasks: Sequence[str],
    held: Iterable[Held],
    *,
    today: date,
) -> Held:
    """The competence by which this person may do any of these tasks on this kind today.

    ``person`` is id and name, ``held`` every competence on record for the kind. Raises ``NotAllowed`` with
    who may, or how the competence is granted when nobody may: nothing is allowed silently.
    """
    wanted = {task.casefold() for task in tasks}
    chosen = [one for one in held if one.task.casefold() in wanted]
    current = [one for one in chosen if one.counts(today)]
    own = [one for one in current if one.person_id == person[0]]
    if own:
        return max(own, key=lambda one: one.expires_on)
    what = f"{' or '.join(tasks)} on a {kind}"
    ended = max((one.expires_on for one in chosen if one.person_id == person[0]), default=None)
    lapsed = f" (that ended on {show_day(ended)})" if ended else ""
    others = sorted({one.person for one in current})
    if others:
        raise NotAllowed(f"{person[1]} has no competence for {what}{lapsed}. Who may: {', '.join(others)}.")
    raise NotAllowed(
        f"{person[1]} has no competence for {what}{lapsed}, and nobody else has one. A safety officer grants "
        f"it: fleet competence grant PERSON --kind {kind} --task '{tasks[0]}' --until DAY --evidence '...'"
    )


def known_task(asked: str, kind: str, tasks: Iterable[str]) -> str:
    """The task meant, as it is written on record; a competence for a task that nobody has helps nobody."""
    names = tuple(dict.fromkeys((*ALWAYS, *tasks)))
    wanted = " ".join(asked.split()).casefold()
    for name in names:
        if name.casefold() == wanted:
            return name
    raise NotPossible(
        f"There is no task {asked!r} for a {kind}. Known: {', '.join(names)}.{hint(asked, names)}"
    )


def check_until(expires_on: date, today: date) -> None:
    """Refuse a last day that has passed, or lies so far ahead that the year must be wrong."""
    if expires_on < today:
        raise NotPossible(f"The last day, {show_day(expires_on)}, has already passed.")
    if expires_on > today + timedelta(days=366 * MOST_YEARS):
        raise NotPossible(f"{show_day(expires_on)} is more than {MOST_YEARS} years ahead; check the year.")


def standing(expires_on: date, *, ended: bool, today: date) -> str:
    """How a competence stands: current, ends soon, expired or ended."""
    if ended:
        return "ended"
    if expires_on < today:
        return "expired"
    return "ends soon" if expires_on <= today + timedelta(days=SOON_DAYS) else "current"
