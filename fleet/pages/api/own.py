"""What the token's person may see: anything else is not there, whatever is on record elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.measures.tags import read_tag
from fleet.pages import finding
from fleet.refusals import NotFound, Unreadable

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
    """One item of a site of theirs; what is elsewhere is answered in the same words as what is nowhere."""
    try:
        return finding.own_item(asking.db, asking.who, asked)
    except NotFound:
        raise NotFound(_no_item(asked)) from None


def job_of(asking: Asking, asked: str) -> tuple[JobLine, SiteLine]:
    """One job of a site of theirs, as above."""
    try:
        return finding.own_job(asking.db, asking.who, asked)
    except NotFound:
        raise NotFound(f"There is no job {asked.strip()!r} at a site of yours.") from None


def _no_item(asked: str) -> str:
    missing = f"There is no item {asked.strip()!r} at a site of yours"
    try:
        read_tag(asked)
    except Unreadable as unread:
        return f"{missing}. As a tag: {unread}"
    return f"{missing}, or several bear that serial number."
