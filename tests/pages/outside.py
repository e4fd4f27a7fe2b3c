"""The demo's pages for scripts that are no tests: served on SQLite from a folder of the moment."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from fleet.room import open_room
from fleet.settings import read_settings
from tests.pages.browsing import Pages, serving
from tests.pages.demo import ENV, MADE
from tests.pages.ways import VISITORS, Way, all_ways
from tests.shop import Clock

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextmanager
def demo_served() -> Iterator[Pages]:
    """The demo's pages, with a session for each visitor."""
    with TemporaryDirectory(prefix="fleet-") as folder:
        address = f"sqlite:///{Path(folder) / 'demo.db'}"
        MADE(address)
        clock = Clock()
        room = open_room(read_settings({**ENV, "FLEET_MAIL_FOLDER": folder}, database=address), clock=clock)
        with serving(room, clock) as pages:
            pages.tokens |= MADE.tokens["sqlite"]
            pages.secrets |= MADE.secrets["sqlite"]
            yield pages
        room.close()


def to_look_at() -> list[tuple[str, Way]]:
    """Every page that a link leads to, with one visitor for whom it is drawn; the door for nobody."""
    order = ("officer", "keeper", "planner", "administrator", "nobody")
    found = []
    for way in all_ways():
        if way.method != "GET" or not way.is_page:
            continue
        for who in order:
            answer = way.answers[VISITORS.index(who)]
            if isinstance(answer, int):
                found.append((who, way))
                break
    return found
