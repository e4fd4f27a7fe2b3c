"""What must be done again: how an upkeep task counts, and what being overdue means."""

from __future__ import annotations

from enum import StrEnum

from fleet.rules.evidence import Proof


class CountsFrom(StrEnum):
    """Where the calendar of a task starts."""

    DONE = "last done"
    ASSEMBLY = "assembly"


class Stop(StrEnum):
    """What an overdue task does at the counter."""

    HARD = "hard"
    SOFT = "soft"


def spoken(task: str) -> str:
    """The task as a sentence begins with it; abbreviations in it keep their capitals."""
    return task[:1].upper() + task[1:]


def proved_otherwise(task: str, tag: str, proved_by: str) -> str:
    """What to do for a task that a note does not prove, as a sentence."""
    how = {
        Proof.INSPECTION: f"Record the inspection: fleet inspect {tag} --occasion periodic --task '{task}'",
        Proof.PROOF_TEST: f"Record the test: fleet proof-test {tag} --task '{task}'",
        Proof.CALIBRATION: "It is done when its certificate is read in and accepted.",
    }
    return f"{spoken(task)} of {tag} is not done by a note; it asks for: {proved_by}. {how[Proof(proved_by)]}"
