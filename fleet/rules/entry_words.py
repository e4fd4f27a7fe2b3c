"""A day-book entry in plain words: what was done to what, and the details that were sealed with it."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence

from fleet.measures.tags import read_tag, show_tag
from fleet.refusals import Unreadable

LONGEST = 400
# What is only there so that a request is carried out once.
_LEFT_OUT = frozenset({"usage", "message_id", "client_id"})
_DIGEST = re.compile(r"[0-9a-f]{32,}")


def about_words(about: str) -> str:
    """A tag as it stands on the label; anything else as it is kept."""
    try:
        return show_tag(read_tag(about))
    except Unreadable:
        return about


def sentence(act: str, about: str) -> str:
    """What was done, about what: ``Returned: 20110-1``."""
    named = act[:1].upper() + act[1:]
    return f"{named}: {about_words(about)}" if about else named


def details(body: str) -> str:
    """The details as they were sealed, in words; cut when they are very long."""
    try:
        said = _said(json.loads(body))
    except ValueError:
        said = body
    return said if len(said) <= LONGEST else said[: LONGEST - 1].rstrip() + "…"


def _said(value: object) -> str:
    if isinstance(value, Mapping):
        pairs = [(name, _said(one)) for name, one in value.items() if name not in _LEFT_OUT]
        return "; ".join(f"{str(name).replace('_', ' ')}: {one}" for name, one in pairs if one)
    if isinstance(value, str):
        return value[:16] if _DIGEST.fullmatch(value) else value
    if isinstance(value, Sequence):
        return ", ".join(
            f"({said})" if isinstance(one, Mapping) else said for one in value if (said := _said(one))
        )
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else f"{value:,}" if isinstance(value, int) else str(value)
