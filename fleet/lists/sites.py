"""Sites."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import select

from fleet.lists.rows import lines
from fleet.measures.times import local_day, zone
from fleet.records import SiteRow
from fleet.records.prepared import Prepared
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class SiteLine:
    """A site: its zone decides what day it is there, its units what is shown.

    What can wait is not sent from ``quiet_from_hour`` until ``quiet_until_hour``; ``working_days`` are ISO
    weekdays as figures, ``12345`` for Monday to Friday.
    """

    id: int
    code: str
    name: str
    time_zone: str
    pressure_unit: str
    torque_unit: str
    letter_weekday: int
    letter_hour: int
    spare_address: str
    quiet_from_hour: int
    quiet_until_hour: int
    working_days: str

    def today(self, now: datetime) -> date:
        """The civil day at the site."""
        return local_day(now, zone(self.time_zone))


_ALL = Prepared(
    select(
        SiteRow.id,
        SiteRow.code,
        SiteRow.name,
        SiteRow.time_zone,
        SiteRow.pressure_unit,
        SiteRow.torque_unit,
        SiteRow.letter_weekday,
        SiteRow.letter_hour,
        SiteRow.spare_address,
        SiteRow.quiet_from_hour,
        SiteRow.quiet_until_hour,
        SiteRow.working_days,
    ).order_by(SiteRow.code)
)


def sites(db: Connection) -> list[SiteLine]:
    """Every site, by code."""
    return lines(SiteLine, _ALL.rows(db, {}))


def find_site(db: Connection, asked: str | None) -> SiteLine:
    """One site by code, whatever its case; without a code, the only site there is."""
    known = sites(db)
    if not known:
        raise NotFound("There is no site on record yet. Import a file of sites first.")
    codes = ", ".join(site.code for site in known)
    if not asked:
        if len(known) == 1:
            return known[0]
        raise NotFound(f"There are {len(known)} sites; say which with --site: {codes}.")
    for site in known:
        if site.code.casefold() == asked.strip().casefold():
            return site
    raise NotFound(f"There is no site {asked!r}. Known: {codes}.")
