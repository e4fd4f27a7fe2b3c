"""What may be undone at the counter: by whoever did it, for a few minutes, as long as nothing followed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from fleet.refusals import NotAllowed, NotPossible

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

# Long enough to see that it was the wrong one; later somebody has to say why.
UNDO_FOR = timedelta(minutes=10)
# What a loan that was undone is closed with; a reservation does not count as fetched by it.
BY_MISTAKE = "Issued by mistake: taken back unused."
UNDONE = "Its return was undone at the counter."


@dataclass(frozen=True, slots=True)
class Deed:
    """Something done at the counter, named as a sentence begins; ``later`` is what else can be done."""

    what: str
    at: datetime
    by_id: int | None
    by: str
    later: str

    def may_undo(self, person_id: int | None, now: datetime) -> bool:
        """Whether it was this person, a few minutes ago."""
        return self.by_id == person_id and now <= self.at + UNDO_FOR


def check_undo(deed: Deed, person_id: int | None, now: datetime, followed: Sequence[str] = ()) -> None:
    """Refuse unless the person who did it undoes it in time. ``followed``: what else happened since."""
    if followed:
        raise NotPossible(f"{deed.what} cannot be undone: {followed[0]}. {deed.later}")
    if deed.by_id != person_id:
        raise NotAllowed(f"{deed.what} can be undone by {deed.by} only. {deed.later}")
    if not deed.may_undo(person_id, now):
        minutes = UNDO_FOR // timedelta(minutes=1)
        raise NotPossible(f"{deed.what} is more than {minutes} minutes ago and stands. {deed.later}")
