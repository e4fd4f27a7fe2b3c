"""What a check found: how grave it is, a short code for lists and tests, and a sentence for people."""

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How grave a finding is."""

    HARD = "hard"
    """A stop that nobody can lift: a rating too low or unknown, parts that do not fit."""
    SOFT = "soft"
    """A stop that a concession may lift for one item, one job and a short time."""
    NOTE = "note"
    """Not a stop; the person who lifts the kit should know."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a check found; ``about`` is the label of the part or joint it concerns, or empty."""

    severity: Severity
    code: str
    sentence: str
    about: str = ""
