"""Which signs of a piece of HTML are read by somebody: between tags, and in what some attributes hold."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

SEEN = {"aria-label", "placeholder", "title", "alt"}
_ATTRIBUTE = re.compile(r"([^\s\"'<>/=]+)=([\"'])|>")


class Reader:
    """Goes through a template from piece to piece; a tag may begin in one and end in another."""

    def __init__(self) -> None:
        self._in_tag, self._quote, self.seen = False, "", True

    def read(self, data: str) -> Iterator[tuple[str, bool]]:
        """Parts of the piece in turn, each with whether it is text; ``seen`` says so of what comes next."""
        at = 0
        while at < len(data):
            if self._quote:
                end = data.find(self._quote, at)
                inside = data[at:] if end < 0 else data[at:end]
                if inside:
                    yield inside, self.seen
                if end < 0:
                    return
                self._quote, self.seen = "", False
                at = end
                yield data[at], False
                at += 1
            elif self._in_tag:
                found = _ATTRIBUTE.search(data, at)
                end = found.end() if found else len(data)
                yield data[at:end], False
                at = end
                if found and found[0] == ">":
                    self._in_tag, self.seen = False, True
                elif found:
                    self._quote, self.seen = found[2], found[1] in SEEN
            else:
                end = data.find("<", at)
                text = data[at:] if end < 0 else data[at:end]
                if text:
                    yield text, True
                if end < 0:
                    return
                self._in_tag, self.seen = True, False
                at = end
