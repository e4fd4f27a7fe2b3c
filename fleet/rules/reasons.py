"""Reasons: what a person must write before an exception is made."""

from __future__ import annotations

from fleet.refusals import NotPossible


def written_reason(text: str, what: str, *, least: int = 10) -> str:
    """The reason without its margins; refused when it is too short to tell anybody anything."""
    reason = " ".join(text.split())
    if len(reason) < least:
        raise NotPossible(f"Write down {what} in a sentence of at least {least} characters.")
    return reason
