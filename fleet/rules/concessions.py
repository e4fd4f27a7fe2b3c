"""When an exception may be made: one overdue inspection or calibration, two people, at most a day."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.measures.tags import show_tag
from fleet.refusals import NotAllowed, NotPossible
from fleet.rules.due import is_overdue
from fleet.rules.upkeep import Stop, spoken

if TYPE_CHECKING:
    from datetime import date

    from fleet.rules.loans import DueStand, ItemFacts

LONGEST_HOURS = 24


def judge_concession(
    item: ItemFacts,
    task: str,
    *,
    today: date,
    asker: tuple[int | None, str],
    granter: tuple[int | None, str],
    hours: int,
) -> DueStand:
    """The due line that the concession is for. People are given as id and name."""
    tag = show_tag(item.tag)
    if not 1 <= hours <= LONGEST_HOURS:
        raise NotPossible(f"A concession lasts from 1 to {LONGEST_HOURS} hours, not {hours}.")
    if asker[0] == granter[0]:
        raise NotAllowed(f"{granter[1]} cannot grant what {granter[1]} asked for. Another person must.")
    due = next((d for d in item.dues if d.task.casefold() == task.strip().casefold()), None)
    if due is None:
        names = ", ".join(d.task for d in item.dues) or "none"
        raise NotPossible(f"{tag} has no upkeep task {task!r}. Its tasks: {names}.")
    if not is_overdue(due.due_on, due.use_left, today):
        raise NotPossible(f"{spoken(due.task)} of {tag} is not overdue; it needs no concession.")
    if due.stop == Stop.HARD:
        raise NotPossible(f"Nobody can lift this: {due.task} of {tag} is a hard stop.")
    return due
