"""Years of letters in four zones: exactly one a week for everybody, whatever happens."""

from __future__ import annotations

import os
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import pytest

from fleet.room import open_room, upgrade_database
from fleet.settings import read_settings
from tests.rounds.years import Wall, Years

if TYPE_CHECKING:
    from collections.abc import Iterator

# The seeds of a full run are shared out, so that two processes can go through them at once.
SHARES = 20


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """All shares of the full run, or two."""
    if "share" in metafunc.fixturenames:
        metafunc.parametrize("share", range(SHARES if metafunc.config.getoption("deep") else 2))


@pytest.fixture
def folder() -> Iterator[Path]:
    """In memory where there is such a place: these are half a million transactions."""
    memory = Path("/dev/shm")  # noqa: S108  A name of our own below it.
    with TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else None) as made:
        yield Path(made)


def test_everybody_gets_one_letter_a_week_through_ten_years(folder: Path, share: int, *, deep: bool) -> None:
    """Ten years × 4 zones × 200 seeds at full size; one year and two seeds in the daily run."""
    letters = aside = deaths = standstills = 0
    seeds, weeks = (range(share, 200, SHARES), 522) if deep else (range(share, share + 1), 54)
    for seed in seeds:
        said = {"FLEET_SETTINGS": "/nowhere", "FLEET_MAIL_FOLDER": str(folder)}
        settings = read_settings(said, database=str(folder / f"{seed}.db"))
        upgrade_database(settings)
        wall = Wall()
        room = open_room(settings, clock=wall)
        years = Years(room, wall, seed, weeks, whole=share == 0)
        years.run()
        written, not_sent = years.judge()
        room.close()
        letters, aside = letters + written, aside + not_sent
        deaths, standstills = deaths + years.deaths, standstills + years.standstills
        (folder / f"{seed}.db").unlink()
    figures = f"{letters} letters, {aside} set aside, {deaths} deaths, {standstills} standstills"
    print(f"{len(seeds)} seeds: {figures}")  # noqa: T201  The figures of a long proof.
    assert letters > len(seeds) * weeks * 3
    assert deaths > 0
    assert aside < letters / 10
