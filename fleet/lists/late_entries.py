"""Day-book entries that an officer looks at twice: corrections, and what was entered for an earlier day."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, or_, select

from fleet.measures.times import local_day, zone
from fleet.records import EntryRow

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine

# How the name of an act ends that takes back what another one wrote.
CORRECTIONS = ("reversed", "withdrawn", "corrected", "undone")
# Acts whose entry names the day on which it was done, and how.
DATED = {
    "upkeep done": "done_on",
    "inspected": "inspected_on",
    "proof tested": "tested_on",
    "repaired": "done_on",
    "use noted": "used_on",
    "breakout recorded": "measured_on",
}


@dataclass(frozen=True, slots=True)
class LateEntry:
    """One entry; ``days`` says how many days late it was entered, and is 0 for a correction."""

    seq: int
    recorded_at: datetime
    person_name: str
    act: str
    about: str
    days: int

    @property
    def why(self) -> str:
        """What to look at."""
        if not self.days:
            return "correction"
        return "entered 1 day late" if self.days == 1 else f"entered {self.days} days late"


# The sum keeps a database without statistics from reading the whole chain: the days are what narrows.
_ENTRIES = (
    select(
        EntryRow.seq,
        EntryRow.recorded_at,
        EntryRow.person_name,
        EntryRow.act,
        EntryRow.about,
        EntryRow.body,
    )
    .where(
        EntryRow.chain + 0 == bindparam("chain"),
        EntryRow.recorded_at >= bindparam("since", type_=EntryRow.recorded_at.type),
        or_(EntryRow.act.in_(DATED), *(EntryRow.act.endswith(ending) for ending in CORRECTIONS)),
    )
    .order_by(EntryRow.recorded_at.desc(), EntryRow.seq.desc())
)


def late_entries(db: Connection, site: SiteLine, *, since: datetime) -> list[LateEntry]:
    """Corrections at the site since then, and what was entered later than on its day; the newest first."""
    there, found = zone(site.time_zone), []
    for row in db.execute(_ENTRIES, {"chain": site.id, "since": since}):
        wrong = row.act.endswith(CORRECTIONS)
        days = 0 if wrong else _days_late(row.act, row.body, local_day(row.recorded_at, there))
        if wrong or days:
            found.append(LateEntry(row.seq, row.recorded_at, row.person_name, row.act, row.about, days))
    return found


def _days_late(act: str, body: str, recorded_on: date) -> int:
    said = json.loads(body).get(DATED[act])
    return max((recorded_on - date.fromisoformat(said)).days, 0) if isinstance(said, str) else 0
