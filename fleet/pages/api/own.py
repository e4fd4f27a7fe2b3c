"""What the token's person may see: anything else is not there, whatever is on record elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.pages import finding
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from fleet.lists.items import ItemLine
    from fleet.lists.jobs import JobLine
    from fleet.lists.sites import SiteLine
    from fleet.pages.api.bearer import Asking


def site_of(asking: Asking, code: str = "") -> SiteLine:
    """The site asked for; without a code that of the token, or the first where its person has a role."""
    if not asking.who.sites:
        raise NotFound("The token's person has no role at any site, or none at the site of the token.")
    return finding.own_site(asking.db, asking.who, code)


def item_of(asking: Asking, asked: str) -> tuple[ItemLine, SiteLine]:
    """One item of a site of theirs."""
    return finding.own_item(asking.db, asking.who, asked)


def job_of(asking: Asking, asked: str) -> tuple[JobLine, SiteLine]:
    """One job of a site of theirs."""
    return finding.own_job(asking.db, asking.who, asked)
