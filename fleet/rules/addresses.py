"""Mail addresses: one, plain, and such that a letter to it can be sent."""

from __future__ import annotations

import re

from fleet.refusals import Unreadable

# The dot-atom form of RFC 5322, section 3.4.1; quoted names and comments are not used in a tool room.
_ATOM = r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+"
_ADDRESS = re.compile(rf"{_ATOM}(?:\.{_ATOM})*@[A-Za-z0-9](?:[A-Za-z0-9.-]*[A-Za-z0-9])?")
# RFC 5321, section 4.5.3.1.3: a path has at most 256 octets, two of them the brackets.
_LONGEST = 254


def read_address(text: str) -> str:
    """Read one mail address as it stands. Raises Unreadable for anything else."""
    if len(text) > _LONGEST or ".." in text or not _ADDRESS.fullmatch(text):
        raise Unreadable(f'"{text[:60]}" is not one mail address; write it like keeper@tool-room.example.')
    return text
