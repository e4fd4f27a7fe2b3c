"""Is what is kept sound; whether what runs by the clock still runs is asked of ``duty``."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from sqlalchemy import func, or_, select, true

from fleet.measures.tags import show_tag
from fleet.records import EntryRow, ItemRow, PersonRow, RoleRow, SiteRow, UsageRow

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from sqlalchemy.engine import Connection

# A clock this far behind the newest entry was set back.
CLOCK_BEHIND = timedelta(minutes=5)
# So many items are named in one sentence.
MOST_NAMED = 5


class Health(StrEnum):
    """How something stands."""

    FINE = "fine"
    MISSING = "missing"
    UNSAFE = "unsafe"


@dataclass(frozen=True, slots=True)
class HealthLine:
    """One thing that was looked at, and one sentence on how it stands."""

    what: str
    health: Health
    sentence: str


_SITES = select(func.count(SiteRow.id))
_SILENT = (
    select(PersonRow.name)
    .join(RoleRow, RoleRow.person_id == PersonRow.id)
    .where(PersonRow.active == true(), PersonRow.address.is_(None))
    .distinct()
    .order_by(PersonRow.name)
)
_SUMS = (
    select(
        UsageRow.item_id,
        func.sum(UsageRow.cycles).label("cycles"),
        func.sum(UsageRow.minutes).label("minutes"),
    )
    .group_by(UsageRow.item_id)
    .subquery()
)
_UNEQUAL = (
    select(ItemRow.tag)
    .outerjoin(_SUMS, _SUMS.c.item_id == ItemRow.id)
    .where(
        or_(
            ItemRow.cycles != func.coalesce(_SUMS.c.cycles, 0),
            ItemRow.minutes != func.coalesce(_SUMS.c.minutes, 0),
        )
    )
    .order_by(ItemRow.tag)
)
_NEWEST = select(func.max(EntryRow.recorded_at))


def health(db: Connection, *, clock: datetime) -> list[HealthLine]:
    """Look at everything the database can tell. ``clock`` is the machine's own time."""
    return [*_register(db), *_ledger(db), *_clock(db, clock)]


def _register(db: Connection) -> Iterator[HealthLine]:
    count = db.execute(_SITES).scalar_one()
    if not count:
        yield HealthLine("sites", Health.MISSING, "No site is on record yet. Import a file of sites first.")
    silent = db.execute(_SILENT).scalars().all()
    if silent:
        sentence = f"No letter can reach {', '.join(silent)}: no e-mail address is on record."
        yield HealthLine("addresses", Health.MISSING, sentence)


def _ledger(db: Connection) -> Iterator[HealthLine]:
    tags = db.execute(_UNEQUAL).scalars().all()
    if tags:
        shown = ", ".join(map(show_tag, tags[:MOST_NAMED]))
        more = f" and {len(tags) - MOST_NAMED} more" if len(tags) > MOST_NAMED else ""
        sentence = f"The meters of {shown}{more} differ from the sum of their ledgers."
        yield HealthLine("meters", Health.UNSAFE, sentence)
    else:
        yield HealthLine("meters", Health.FINE, "Every item's meter equals the sum of its ledger.")


def _clock(db: Connection, clock: datetime) -> Iterator[HealthLine]:
    newest = db.execute(_NEWEST).scalar()
    if newest is not None and newest - clock > CLOCK_BEHIND:
        sentence = (
            f"The clock of this machine is behind the newest day-book entry of {newest:%d %b %Y %H:%M} UTC. "
            f"That time is used until the clock catches up."
        )
        yield HealthLine("clock", Health.UNSAFE, sentence)
