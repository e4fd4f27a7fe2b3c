"""The known word nearest to what was written, for sentences that say what was probably meant."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

# Comparing with more words than this takes longer than anybody wants to wait for a hint.
MOST_WORDS = 2_000


def nearest(asked: str, known: Iterable[str]) -> str | None:
    """Answer the known word most like ``asked``, whatever its case, or nothing when none is much like it."""
    words = {word.casefold(): word for word in known}
    if len(words) > MOST_WORDS:
        return None
    found = difflib.get_close_matches(asked.casefold(), words, n=1, cutoff=0.6)
    return words[found[0]] if found else None


def hint(asked: str, known: Iterable[str]) -> str:
    """Answer `` Did you mean "W-500"?`` to end a sentence with, or an empty text."""
    near = nearest(asked, known)
    return f' Did you mean "{near}"?' if near else ""
