"""The desk at which commands are typed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.commands.typed import Desk, set_up

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock, capsys: pytest.CaptureFixture[str]) -> Desk:
    """A tool room of today, on each engine, and a keyboard."""
    return set_up(room, shop, clock, capsys)
