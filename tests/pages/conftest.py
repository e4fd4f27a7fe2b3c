"""A room with people of each role whose pages are served."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fleet.desk.logins import invite, invite_first
from fleet.rules.people import SETTING_UP
from tests.letterdesk import LetterDesk
from tests.pages.browsing import Pages, serving

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.room import Room
    from tests.shop import Clock, Shop


@pytest.fixture
def staffed(room: Room, shop: Shop, clock: Clock) -> LetterDesk:
    """A keeper, a planner and a safety officer."""
    made = LetterDesk(room, shop, clock)
    for badge in ("K1", "P1", "S1"):
        made.hire(badge)
    return made


@pytest.fixture
def pages(staffed: LetterDesk) -> Iterator[Pages]:
    """The pages of their site."""
    with serving(staffed.room, staffed.clock) as found:
        yield found


def first_link(pages: Pages, badge: str) -> str:
    """The link of the first administrator."""
    with pages.room.act() as db:
        return invite_first(db, badge, by=SETTING_UP, now=pages.room.now(db))


def link_for(pages: Pages, badge: str, by: str) -> str:
    """A link that an administrator made."""
    from fleet.lists.people import find_actor  # noqa: PLC0415  Only here.

    with pages.room.act() as db:
        actor, _ = find_actor(db, by)
        return invite(db, badge, by=actor, now=pages.room.now(db))
