"""What lies on the counter between two scans: carried in the address and in hidden fields, kept nowhere."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

# More than this is no kit; and an address has to stay short enough for whatever lies in between.
MOST = 60
COUNTER, BACK = "/counter", "/back"


@dataclass(frozen=True, slots=True)
class Basket:
    """What is to go out, to whom, for which job and until when; and what is coming back meanwhile.

    ``way`` is the page that shows it; the other list waits until its turn.
    """

    way: str = COUNTER
    to: str = ""
    job: str = ""
    back: str = ""
    going: tuple[str, ...] = ()
    coming: tuple[str, ...] = ()

    def with_going(self, tag: str) -> Basket:
        """With one more to hand out; scanned once more, it is there once."""
        return replace(self, way=COUNTER, going=_added(self.going, tag), coming=_without(self.coming, tag))

    def with_coming(self, tag: str) -> Basket:
        """With one more to take back."""
        return replace(self, way=BACK, coming=_added(self.coming, tag), going=_without(self.going, tag))

    def without(self, tag: str) -> Basket:
        """Without one of either list."""
        return replace(self, going=_without(self.going, tag), coming=_without(self.coming, tag))

    @property
    def fields(self) -> list[tuple[str, str]]:
        """What it is carried as: ``item`` is what the page shows, ``rest`` what waits."""
        shown, rest = (self.going, self.coming) if self.way == COUNTER else (self.coming, self.going)
        said = [("to", self.to), ("job", self.job), ("back", self.back)]
        found = [(name, value) for name, value in said if value]
        return [*found, *(("item", tag) for tag in shown), *(("rest", tag) for tag in rest)]

    @property
    def hidden(self) -> list[tuple[str, str]]:
        """As ``fields``, with the page that they are of."""
        return [("at", self.way), *self.fields]

    @property
    def address(self) -> str:
        """The page that shows it."""
        return f"{self.way}?{urlencode(self.fields)}" if self.fields else self.way


def read_basket(way: str, get: Callable[[str], str], all_of: Callable[[str], Iterable[str]]) -> Basket:
    """The basket out of an address or a form."""
    shown, rest = (_tags(all_of(name)) for name in ("item", "rest"))
    going, coming = (shown, rest) if way != BACK else (rest, shown)
    said = {name: get(name).strip()[:80] for name in ("to", "job", "back")}
    return Basket(way if way == BACK else COUNTER, **said, going=going, coming=coming)


def _tags(found: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(tag.strip()[:60] for tag in found if tag.strip()))[:MOST]


def _added(tags: Sequence[str], tag: str) -> tuple[str, ...]:
    if tag in tags:
        return tuple(tags)
    if len(tags) >= MOST:
        raise NotPossible(f"{MOST} items are as many as go over the counter at once. Finish these first.")
    return (*tags, tag)


def _without(tags: Sequence[str], tag: str) -> tuple[str, ...]:
    return tuple(one for one in tags if one != tag)
