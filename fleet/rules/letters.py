"""What becomes of a letter: its states, and when to try again."""

from __future__ import annotations

from enum import StrEnum


class LetterState(StrEnum):
    """A letter is written, taken by a sender, then sent, or given up and shown to people."""

    WRITTEN = "written"
    TAKEN = "taken"
    SENT = "sent"
    UNDELIVERABLE = "undeliverable"
