"""In what state a thing comes back, and why it may be put on hold."""

from __future__ import annotations

from enum import StrEnum


class Condition(StrEnum):
    """What the keeper sees at the counter."""

    FINE = "fine"
    ATTENTION = "needs attention"
    DAMAGED = "damaged"


class HoldCause(StrEnum):
    """Why an item is kept in."""

    DAMAGED = "damaged"
    INSPECTION = "inspection"
    CALIBRATION = "calibration"
    RECALL = "recall"
    OTHER = "other"


class ConcessionReason(StrEnum):
    """Coded reasons for letting one overdue item out for one job."""

    NO_OTHER = "no other item"
    WORK_STARTED = "work already started"
    CHECKED = "checked against a second item"
