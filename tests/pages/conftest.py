"""A room with people of each role whose pages are served."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fleet.desk.logins import invite, invite_first
from fleet.room import open_room
from fleet.rules.people import SETTING_UP
from fleet.settings import read_settings
from tests.letterdesk import LetterDesk
from tests.pages.browsing import Pages, serving
from tests.pages.chromium import chromium, chromium_browser
from tests.pages.demo import ENV, MADE

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from fleet.room import Room
    from tests.databases import Migrate
    from tests.shop import Clock, Shop

# Fixtures of other modules, for every test here.
__all__ = ["chromium", "chromium_browser"]


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


@pytest.fixture
def demo_room(
    engine_name: str, migrated_template: Callable[[str, Migrate], str], clock: Clock, tmp_path: Path
) -> Iterator[Room]:
    """A copy of the demo's room, on each engine in turn."""
    env = ENV | {"FLEET_MAIL_FOLDER": str(tmp_path / "letters")}
    opened = open_room(read_settings(env, database=migrated_template(engine_name, MADE)), clock=clock)
    yield opened
    opened.close()


@pytest.fixture
def demo(demo_room: Room, clock: Clock, engine_name: str) -> Iterator[Pages]:
    """The pages of the demo's room; ``demo.as_("keeper")`` is a browser in which that person is logged in."""
    engine = "postgresql" if engine_name == "postgres" else engine_name
    with serving(demo_room, clock) as found:
        found.tokens |= MADE.tokens[engine]
        found.secrets |= MADE.secrets[engine]
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
