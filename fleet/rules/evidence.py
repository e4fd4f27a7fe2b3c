"""What shows that something was done, and what it was: closed lists that the tables know too."""

from __future__ import annotations

from enum import StrEnum


class Proof(StrEnum):
    """What a task asks for before it counts as done."""

    NOTE = "note"
    INSPECTION = "inspection"
    PROOF_TEST = "proof test"
    CALIBRATION = "calibration"


class Occasion(StrEnum):
    """Why an item is inspected."""

    BEFORE_USE = "before use"
    PERIODIC = "periodic"
    AFTER_EVENT = "after event"


class Answer(StrEnum):
    """What was seen at one checkpoint; the worst of them is the inspection's result."""

    FINE = "fine"
    NOTE = "note"
    REJECT = "reject"


class Errand(StrEnum):
    """Why an item is sent away."""

    CALIBRATION = "calibration"
    REPAIR = "repair"


class Stage(StrEnum):
    """When a calibrated point was read."""

    AS_FOUND = "as found"
    AS_LEFT = "as left"


class Standing(StrEnum):
    """Where a certificate stands: read in, then accepted or refused by a named person."""

    RECEIVED = "received"
    ACCEPTED = "accepted"
    REFUSED = "refused"


class Work(StrEnum):
    """What a repair changed."""

    SEAL_KIT = "seal kit"
    GAUGE_CHANGED = "gauge changed"
    RELIEF_SET = "relief set"
    COUPLING_CHANGED = "coupling changed"
    DRIVE_PARTS = "drive parts"
    OTHER = "other"


class Choice(StrEnum):
    """What a person made of a proposal."""

    TAKEN = "taken"
    DECLINED = "declined"


class Ruling(StrEnum):
    """What a person decided about one touched joint of an impact review."""

    ACCEPT = "accept"
    RETIGHTEN = "re-tighten"
    OTHER = "other"
