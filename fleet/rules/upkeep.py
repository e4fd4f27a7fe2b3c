"""What must be done again: how an upkeep task counts, and what being overdue means."""

from __future__ import annotations

from enum import StrEnum


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
