"""What a visitor may see: sites where they have a role, and what belongs to those.

Of anything else they are told that it is not there. A site comes in the units that the visitor chose.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING

from fleet.lists.items import find_item
from fleet.lists.jobs import find_job
from fleet.lists.sites import sites
from fleet.measures.tags import read_tag
from fleet.refusals import NotFound, Unreadable

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.items import ItemLine
    from fleet.lists.jobs import JobLine
    from fleet.lists.sites import SiteLine


def own_sites(db: Connection, who: Visitor) -> list[SiteLine]:
    """The sites where the visitor has a role, by code."""
    return [_in_own_units(site, who) for site in sites(db) if site.id in who.sites]


def own_site(db: Connection, who: Visitor, asked: str = "") -> SiteLine:
    """The site asked for by code; without one that of the counter they stand at, or the first of theirs."""
    return site_among(own_sites(db, who), who, asked)


def site_among(found: list[SiteLine], who: Visitor, asked: str = "") -> SiteLine:
    """As ``own_site``, of sites that were looked up already."""
    if not found:
        raise NotFound(f"{who.name} has no role at any site yet; whoever keeps the register gives one.")
    code = asked.strip().casefold()
    for site in found:
        if site.code.casefold() == code or (not code and site.id == who.station_site):
            return site
    if code:
        raise NotFound(f"There is no site {asked.strip()!r} of yours.")
    return found[0]


def own_item(db: Connection, who: Visitor, asked: str) -> tuple[ItemLine, SiteLine]:
    """An item of a site of theirs by what is on its label, and that site.

    What is elsewhere is answered in the same words as what is nowhere.
    """
    with suppress(NotFound):
        item = find_item(db, asked)
        for site in own_sites(db, who):
            if site.code == item.site:
                return item, site
    missing = f"There is no item {asked.strip()[:40]!r} at a site of yours"
    try:
        read_tag(asked)
    except Unreadable as unread:
        raise NotFound(f"{missing}. As a tag: {unread}") from None
    raise NotFound(f"{missing}, or several bear that serial number.")


def own_job(db: Connection, who: Visitor, code: str) -> tuple[JobLine, SiteLine]:
    """A job of a site of theirs, and that site; what is elsewhere is answered as above."""
    with suppress(NotFound):
        job = find_job(db, code)
        for site in own_sites(db, who):
            if site.code == job.site:
                return job, site
    raise NotFound(f"There is no job {code.strip()[:60]!r} at a site of yours.")


def _in_own_units(site: SiteLine, who: Visitor) -> SiteLine:
    return replace(
        site,
        pressure_unit=who.pressure_unit or site.pressure_unit,
        torque_unit=who.torque_unit or site.torque_unit,
    )
