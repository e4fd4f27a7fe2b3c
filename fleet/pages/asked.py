"""What is asked for in an address or typed into a form, read: days, numbers, pages of long lists."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeVar

from fleet.measures.times import read_day, read_moment, with_year, zone
from fleet.pages.guard import Form, status_of
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from fleet.lists.sites import SiteLine
    from fleet.refusals import Refusal

Row = TypeVar("Row")
# What no column can hold is no number of ours; and nobody pages so far by hand.
_LARGEST, _LAST = 2**31 - 1, 100_000


def number_of(text: str) -> int:
    """A number of ours as it stands in an address or a form; 0, which nothing bears, for anything else."""
    plain = text.strip()
    found = int(plain) if plain.isascii() and plain.isdigit() and len(plain) <= len(str(_LARGEST)) else 0
    return found if found <= _LARGEST else 0


def page_asked(text: str) -> int:
    """The number of the page asked for; the first for anything that is none."""
    return min(max(number_of(text), 1), _LAST)


@dataclass(slots=True)
class Paged:
    """One page of so many rows; it is asked for one row more, to know whether another page follows."""

    number: int
    size: int
    more: bool = False

    @property
    def skip(self) -> int:
        """How many rows come before it."""
        return (self.number - 1) * self.size

    @property
    def one_more(self) -> int:
        """How many rows to ask for."""
        return self.size + 1

    def cut(self, rows: Sequence[Row]) -> list[Row]:
        """The rows of this page."""
        self.more = len(rows) > self.size
        return list(rows[: self.size])


# What stands under a field for a day.
HOW = "Like 2026-03-27, 27 Mar 2026 or 27 mar; with a time if need be: 27 mar 07:00."


def moment_ahead(text: str, site: SiteLine, now: datetime, *, end: bool = False) -> datetime | None:
    """A day or time at the site; without a year the next such; nothing when nothing was typed."""
    if not text.strip():
        return None
    return read_moment(with_year(text, site.today(now)), zone(site.time_zone), end=end)


def day_ahead(text: str, otherwise: date, today: date) -> date:
    """A day; without a year the next such; the other one when nothing was typed."""
    return read_day(with_year(text, today)) if text.strip() else otherwise


def day_behind(text: str, today: date) -> date | None:
    """A day that is over; without a year the last such; nothing when nothing was typed."""
    return read_day(with_year(text, today, ahead=False)) if text.strip() else None


@dataclass(frozen=True, slots=True)
class Tried:
    """A form that was sent and refused, to be shown again with its sentence; by itself, one not sent yet."""

    form: Form = field(default_factory=Form)
    error: str | None = None
    status: int = 200

    @property
    def sent(self) -> bool:
        """Whether there is anything to show again."""
        return self.error is not None

    @property
    def told(self) -> dict[str, object]:
        """What the page's template is told of it."""
        return {"typed": self.form, "error": self.error}


def tried(form: Form, refusal: Refusal) -> Tried:
    """The form with its refusal; what was typed into it and is not there is a slip, and no missing page."""
    return Tried(form, str(refusal), 422 if isinstance(refusal, NotFound) else status_of(refusal))


NOT_SENT = Tried()
