"""The desk at which commands are typed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fleet.measures.times import add_months
from tests.commands.typed import Desk, set_up

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock, capsys: pytest.CaptureFixture[str]) -> Desk:
    """A tool room of today, on each engine, and a keyboard."""
    return set_up(room, shop, clock, capsys)


@pytest.fixture
def hose(desk: Desk) -> str:
    """A hose that Kim may inspect and test; its inspection and its proof test were never done."""
    desk.shop.task("inspection", "hose", every_months=6, proved_by="inspection")
    desk.shop.task("pressure test", "hose", every_months=12, proved_by="proof test", stop="hard")
    told = ("--until", str(desk.day(200)), "--evidence", "Instructed on 3 March")
    for task in ("inspection", "inspection before use", "pressure test"):
        given = desk.type("competence", "grant", "K1", "--kind", "hose", "--task", task, *told, by="S1")
        assert given.code == 0
    made = add_months(desk.today, -6)
    return desk.shop.item(desk.shop.model("hose", "H-6"), desk.site, assembled_on=made)[1]


@pytest.fixture
def gauge(desk: Desk) -> str:
    """A gauge to 2,500 bar, calibrated a month ago."""
    task = desk.shop.task("calibration", "gauge", every_months=12, proved_by="calibration")
    model = desk.shop.model("gauge", "G-25", range_written="2500 bar", range_mpa=250.0)
    item, tag = desk.shop.item(model, desk.site)
    desk.shop.did(item, task, desk.day(-30))
    return tag
