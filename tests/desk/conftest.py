"""What the tests of acts start from: a letter desk, and a board of reservations."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fleet.room import open_room
from fleet.settings import read_settings
from tests.importing import Intake, taken_in
from tests.letterdesk import LetterDesk

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from fleet.room import Room
    from tests.databases import Migrate
    from tests.shop import Clock, Shop


from tests.board import Board
from tests.passing import MONDAY, House
from tests.plantable import Table, lay


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock) -> LetterDesk:
    return LetterDesk(room, shop, clock)


@pytest.fixture
def staffed(desk: LetterDesk) -> LetterDesk:
    for badge in ("K1", "P1", "S1"):
        desk.hire(badge)
    return desk


# --- Who gets one -------------------------------------------------------------------------------------------


@pytest.fixture
def board(room: Room, shop: Shop) -> Board:
    site = shop.site()
    for badge, *roles in (("K1", "keeper"), ("P1", "planner"), ("S1", "safety officer"), ("F1",)):
        shop.person(badge, site, *roles)
    task = shop.task("calibration", "wrench", every_months=12)
    for code in ("J-1", "J-2"):
        shop.job(site, code)
    model = shop.model("wrench")
    board = Board(room, shop, site, model, task, 0, "")
    board.item, board.tag = board.good()
    return board


# --- Plans --------------------------------------------------------------------------------------------------


@pytest.fixture
def table(room: Room, shop: Shop) -> Table:
    return lay(room, shop)


# --- Passing on ---------------------------------------------------------------------------------------------


@pytest.fixture
def house(room: Room, shop: Shop, clock: Clock) -> House:
    clock.now = MONDAY
    desk = LetterDesk(room, shop, clock)
    for badge in ("K1", "P1", "S1"):
        desk.hire(badge)
    return House(desk)


# --- Files taken in -----------------------------------------------------------------------------------------


@pytest.fixture
def filled(
    engine_name: str, migrated_template: Callable[[str, Migrate], str], clock: Clock
) -> Iterator[Intake]:
    """The small room as it was once taken in from its files."""
    address = migrated_template(engine_name, taken_in)
    settings = read_settings({"FLEET_SETTINGS": "/nowhere"}, database=address)
    room = open_room(settings, clock=clock)
    yield Intake(room)
    room.close()
