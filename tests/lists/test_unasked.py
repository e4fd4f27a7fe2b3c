"""A question that leaves something open is answered on both engines.

PostgreSQL will not guess the type of a value that is not given.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.lists.items import items
from fleet.lists.jobs import jobs
from fleet.lists.models import models
from fleet.lists.reservations import reservations
from tests.shop import NOON

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop


def test_everything_may_be_left_open(room: Room, shop: Shop) -> None:
    site = shop.site()
    shop.job(site)
    shop.item(shop.model("wrench"), site)

    with room.look() as db:
        assert len(items(db)) == 1
        assert len(jobs(db, site=None, since=NOON)) == 1
        assert len(models(db)) == 1
        assert reservations(db, since=NOON) == []
