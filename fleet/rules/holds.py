"""What lets an item go again: something done after the hold was opened that shows it sound."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from fleet.measures.times import show_day
from fleet.refusals import NotAllowed, NotPossible
from fleet.rules.conditions import HoldCause

if TYPE_CHECKING:
    from datetime import date, datetime


class Shown(StrEnum):
    """What can be named as evidence."""

    INSPECTION = "inspection"
    REPAIR = "repair"
    PROOF_TEST = "proof test"
    CERTIFICATE = "certificate"


@dataclass(frozen=True, slots=True)
class Evidence:
    """One thing that was done. ``fault`` says in a sentence why it shows nothing; empty when it does.

    ``came_at`` is when a certificate was read in: a failed one opens a hold in that very instant.
    """

    what: Shown
    number: int
    done_on: date
    recorded_at: datetime
    fault: str = ""
    came_at: datetime | None = None

    def __str__(self) -> str:
        """Name it as it is asked for."""
        return f"{self.what.value} {self.number}"


@dataclass(frozen=True, slots=True)
class HeldFacts:
    """One open hold, and what the newest inspection and proof test of its item came to."""

    number: int
    cause: str
    opened_on: date
    opened_at: datetime
    rejected: bool
    """The newest inspection is a reject."""
    proof_failed: bool
    """The newest proof test was not passed."""


# Ways back to work, by why it is kept in; the first is the one to name.
_SERVES = {
    HoldCause.DAMAGED: (Shown.INSPECTION,),
    HoldCause.INSPECTION: (Shown.INSPECTION, Shown.PROOF_TEST),
    HoldCause.CALIBRATION: (Shown.CERTIFICATE,),
    HoldCause.RECALL: tuple(Shown),
    HoldCause.OTHER: tuple(Shown),
}
_COMMANDS = {
    Shown.INSPECTION: "fleet inspect",
    Shown.REPAIR: "fleet repair",
    Shown.PROOF_TEST: "fleet proof-test",
    Shown.CERTIFICATE: "fleet certificate",
}


def judge_release(hold: HeldFacts, evidence: Evidence, tag: str, *, safety: bool) -> None:
    """Refuse unless the evidence was made after the hold was opened and serves what it was opened for.

    ``safety`` says whether a safety officer asks: a recall is lifted for one item by nobody else.
    """
    if evidence.fault:
        raise NotPossible(evidence.fault)
    if (evidence.done_on < hold.opened_on and not _opened_it(hold, evidence)) or (
        evidence.recorded_at <= hold.opened_at
    ):
        raise NotPossible(
            f"{_named(evidence)} is not newer than hold {hold.number} of {show_day(hold.opened_on)}. "
            f"Only what was done after that releases it."
        )
    if hold.cause == HoldCause.RECALL and not safety:
        raise NotAllowed(
            f"Hold {hold.number} of {tag} is for a recall: only a safety officer lifts it for one item. "
            f"It also ends when the recall does."
        )
    wanted = ways_back(hold.cause, hold.rejected, hold.proof_failed)
    if evidence.what not in wanted:
        ways = " or ".join(f"{_article(way)} ({_COMMANDS[way]})" for way in wanted)
        raise NotPossible(
            f"{_named(evidence)} does not release hold {hold.number} of {tag} ({hold.cause}): "
            f"it needs {ways} made after {show_day(hold.opened_on)}."
        )


def _opened_it(hold: HeldFacts, evidence: Evidence) -> bool:
    """Whether the hold was opened for what this certificate found; adjusted and accepted since, it serves."""
    return hold.cause == HoldCause.CALIBRATION and evidence.came_at == hold.opened_at


def ways_back(cause: str, rejected: bool, proof_failed: bool) -> tuple[Shown, ...]:  # noqa: FBT001  As the newest inspection and proof test came to.
    """What can release a hold of this cause, as the newest inspection and proof test of its item came out."""
    ways = _SERVES.get(HoldCause(cause), ())
    if cause in (HoldCause.DAMAGED, HoldCause.CALIBRATION):
        return ways
    if proof_failed:
        return (Shown.PROOF_TEST,)
    # What an inspection turned down, only an inspection finds good again.
    return (Shown.INSPECTION,) if rejected else ways


def _named(evidence: Evidence) -> str:
    text = str(evidence)
    return text[:1].upper() + text[1:]


def _article(way: Shown) -> str:
    return f"an {way.value}" if way is Shown.INSPECTION else f"a {way.value}"
