"""Everything a site's letters of one week are made of, read in one transaction."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from fleet.lists.calendars import letter_calendar
from fleet.lists.concessions import concessions
from fleet.lists.daybook import seal
from fleet.lists.due import due
from fleet.lists.holds import holds
from fleet.lists.letters import not_delivered, week_before
from fleet.lists.out import out
from fleet.lists.reservations import warnings
from fleet.lists.reviews import reviews
from fleet.measures.times import local_day, next_week, zone

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.calendars import CalendarFacts
    from fleet.lists.concessions import ConcessionLine
    from fleet.lists.due import DueLine
    from fleet.lists.holds import HoldLine
    from fleet.lists.letters import LetterLine
    from fleet.lists.out import OutLine
    from fleet.lists.reservations import WarningLine
    from fleet.lists.reviews import ReviewLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.daybook import Seal
    from fleet.rules.readers import Reader

WEEKS_AHEAD = 4


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One picture of a site: ``taken_at`` is its instant, ``today`` the day there, ``until`` the horizon.

    ``due`` holds what is overdue and what comes due through ``until``; ``missed`` the weeks between the last
    letter and this one; ``unreached`` those who have a role and no usable address; ``reserved`` what stands
    against reservations that begin through ``until``.
    """

    site: SiteLine
    week: str
    taken_at: datetime
    today: date
    until: date
    due: tuple[DueLine, ...]
    holds: tuple[HoldLine, ...]
    concessions: tuple[ConcessionLine, ...]
    out: tuple[OutLine, ...]
    not_delivered: tuple[LetterLine, ...]
    missed: tuple[str, ...]
    unreached: tuple[Reader, ...]
    seal: Seal
    reviews: tuple[ReviewLine, ...] = ()
    reserved: tuple[WarningLine, ...] = ()
    calendar: CalendarFacts | None = None

    @property
    def overdue(self) -> tuple[DueLine, ...]:
        """What is past its day, or whose meter is used up."""
        return tuple(line for line in self.due if line.overdue(self.today))

    @property
    def coming_due(self) -> tuple[DueLine, ...]:
        """What comes due through ``until``."""
        return tuple(line for line in self.due if not line.overdue(self.today))

    @property
    def late(self) -> tuple[OutLine, ...]:
        """What should be back already."""
        return tuple(line for line in self.out if line.days_late > 0)


def take_snapshot(
    db: Connection, site: SiteLine, week: str, *, unreached: Sequence[Reader], now: datetime
) -> Snapshot:
    """Read everything the letters of a site and week are made of."""
    today = site.today(now)
    until = today + timedelta(weeks=WEEKS_AHEAD)
    before = week_before(db, site.id, week)
    there = zone(site.time_zone)
    return Snapshot(
        site=site,
        week=week,
        taken_at=now,
        today=today,
        until=until,
        due=tuple(due(db, site.id, until=until, today=today)),
        holds=tuple(holds(db, site, now=now)),
        concessions=tuple(concessions(db, site, now=now)),
        out=tuple(out(db, site, now=now)),
        not_delivered=tuple(not_delivered(db, site, since=before or week, week=week)),
        missed=_between(before, week),
        unreached=tuple(unreached),
        seal=seal(db, site.id),
        reviews=tuple(reviews(db, site)),
        reserved=tuple(one for one in warnings(db, site, now) if local_day(one.starts_at, there) <= until),
        calendar=letter_calendar(db, site, until=until, now=now),
    )


def _between(before: str | None, week: str) -> tuple[str, ...]:
    """The weeks after the last letter and before this one; before the first letter none was missed."""
    missed = []
    at = next_week(before) if before else week
    while at < week:
        missed.append(at)
        at = next_week(at)
    return tuple(missed)
