"""Requests with an id of the client's own: each is carried out once, and an id means one thing only."""

from __future__ import annotations

from fleet.refusals import NotPossible


def used_otherwise(client_id: str) -> NotPossible:
    """The refusal of an id that stands for something else already; nobody may take that for done."""
    shown = client_id.partition("/")[0]
    return NotPossible(
        f"The id {shown!r} was used before, for something else. Give this request an id of its own."
    )
