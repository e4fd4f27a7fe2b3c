"""How day-book entries are sealed: each hash covers the entry and the hash before it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

# What the first entry of a chain carries as the hash before it.
FIRST = "0" * 64
ROOM_CHAIN = 0

# Made once: an encoder costs as much as the text it writes.
_CANONICAL = json.JSONEncoder(sort_keys=True, ensure_ascii=False, separators=(",", ":"))
_CONTENT = json.JSONEncoder(ensure_ascii=False)


@dataclass(frozen=True, slots=True)
class Seal:
    """The newest entry of a chain: whoever kept an old seal can show that the past was not changed."""

    chain: int
    seq: int
    hash: str

    def __str__(self) -> str:
        """Short enough to print in a footer and to compare by eye."""
        return f"{self.seq}·{self.hash[:16]}"


def canonical(body: Mapping[str, object]) -> str:
    """One text for one content: sorted keys, no spaces, so that a hash can be worked out again."""
    return _CANONICAL.encode(body)


def entry_hash(
    prev_hash: str,
    *,
    chain: int,
    seq: int,
    recorded_at: datetime,
    person_name: str,
    act: str,
    about: str,
    body: str,
) -> str:
    """SHA-256 over a leaf mark, the hash before and the entry (domain mark as in RFC 6962, from memory)."""
    stamp = recorded_at.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    content = _CONTENT.encode([chain, seq, stamp, person_name, act, about, body])
    return hashlib.sha256(b"\x00" + bytes.fromhex(prev_hash) + content.encode("utf-8")).hexdigest()
