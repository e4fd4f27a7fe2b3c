"""Printing labels: the day book knows of each, so that two pieces with one label are noticed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.ledgers import daybook
from fleet.lists.labels import PRINTED, LabelLine, labels
from fleet.lists.sites import sites
from fleet.rules.people import Actor, require
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection


def print_labels(
    db: Connection, ids: Sequence[int], size: str, *, by: Actor, now: datetime
) -> list[LabelLine]:
    """What stands on the labels of these items, noted in the day book of each as printed."""
    found = labels(db, ids)
    names = {site.id: site.name for site in sites(db)}
    for site_id in {line.site_id for line in found}:
        require(by, site_id, names[site_id], Role.KEEPER)
    for line in found:
        daybook.enter(db, line.site_id, by=by, now=now, act=PRINTED, about=line.tag, body={"size": size})
    return found
