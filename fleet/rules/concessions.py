"""When an exception may be made: one overdue inspection or calibration, two people, at most a day."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.bolting.findings import Severity
from fleet.measures.tags import show_tag
from fleet.refusals import NotAllowed, NotPossible
from fleet.rules.due import is_overdue
from fleet.rules.loans import Wish, judge
from fleet.rules.upkeep import CountsFrom, Stop, spoken

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from fleet.rules.loans import DueStand, ItemFacts

LONGEST_HOURS = 24
# Who has it or waits for it is seen to at the counter; it says nothing of the item.
OF_THE_MOMENT = ("out", "reserved")


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
    if due.stop != Stop.SOFT or due.counts_from == CountsFrom.ASSEMBLY:
        raise NotPossible(f"Nobody can lift this: {due.task} of {tag} is a hard stop.")
    for sentence in _hard_stops(item, today):
        raise NotPossible(f"No concession for {tag}, since nobody can lift this: {sentence}")
    return due


def _hard_stops(item: ItemFacts, today: date) -> Iterator[str]:
    """Every hard stop of the item itself: a hold, a recall, a failed proof test, a hose past its life."""
    here = Wish(job="", site=item.site, today=today, back_on=today)
    for finding in judge(item, here).findings:
        if finding.severity is Severity.HARD and finding.code not in OF_THE_MOMENT:
            yield finding.sentence
