"""The migrations and the tables say the same, and the database knows the rules too."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from fleet.records import EntryRow
from fleet.refusals import SettingsWrong
from fleet.room import SCHEMA, migrations_folder, open_room, upgrade_database
from fleet.settings import read_settings
from tests.shop import NOON

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.room import Room
    from fleet.settings import Settings
    from tests.shop import Shop


def config(url: str) -> Config:
    made = Config()
    made.set_main_option("path_separator", "os")
    made.set_main_option("script_location", str(migrations_folder()))
    made.set_main_option("sqlalchemy.url", url.replace("%", "%%"))
    return made


def of(url: str) -> Settings:
    return read_settings({"FLEET_SETTINGS": "/nowhere"}, database=url)


def test_the_program_knows_the_newest_migration() -> None:
    assert ScriptDirectory.from_config(config("sqlite://")).get_heads() == [SCHEMA]


def test_the_migrations_make_exactly_the_tables_of_the_program(database_url: str) -> None:
    upgrade_database(of(database_url))

    command.check(config(database_url))


def test_upgrading_twice_changes_nothing(database_url: str) -> None:
    assert upgrade_database(of(database_url)) == (None, SCHEMA, None)
    assert upgrade_database(of(database_url)) == (SCHEMA, SCHEMA, None)


def test_an_empty_database_says_what_to_do(database_url: str, engine_name: str) -> None:
    expected = "There is no database" if engine_name == "sqlite" else "is empty"

    with pytest.raises(SettingsWrong, match=f"{expected}.*fleet database upgrade"):
        open_room(of(database_url))


def test_a_database_from_a_newer_version_is_left_alone(room: Room) -> None:
    with room.act() as db:
        db.execute(text("UPDATE alembic_version SET version_num = '9999'"))

    for attempt in (open_room, upgrade_database):
        with pytest.raises(SettingsWrong, match=r"made by a newer version.*nothing was changed"):
            attempt(room.settings)


def test_a_file_that_is_no_database_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "letter.db"
    path.write_text("Dear keeper, " * 200)

    with pytest.raises(SettingsWrong, match="is not a database"):
        open_room(of(str(path)))
    with pytest.raises(SettingsWrong, match="cannot be upgraded"):
        upgrade_database(of(str(path)))


ENTRY = {
    "person_name": "Kim",
    "act": "returned",
    "about": "10014",
    "body": "{}",
    "prev_hash": "0" * 64,
    "recorded_at": NOON,
}


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE daybook SET body = '{\"cycles\":0}'",
        "DELETE FROM daybook",
        (
            "INSERT OR REPLACE INTO daybook SELECT chain, seq, recorded_at, person_id, person_name, "
            "act, about, '{}', prev_hash, 'other' FROM daybook"
        ),
    ],
)
def test_nobody_edits_the_day_book(room: Room, shop: Shop, engine_name: str, change: str) -> None:
    if engine_name == "postgres" and "REPLACE" in change:
        change = "TRUNCATE daybook"
    shop.put(EntryRow, chain=0, seq=1, hash="a", **ENTRY)

    with pytest.raises(DBAPIError, match="append-only"), room.act() as db:
        db.exec_driver_sql(change)

    with room.look() as db:
        assert db.execute(text("SELECT hash FROM daybook")).scalars().all() == ["a"]


@pytest.mark.parametrize(
    ("statement", "name"),
    [
        ("UPDATE item SET cycles = -1", "cycles_not_negative"),
        ("UPDATE model SET head = 'hook'", "head_known"),
        ("UPDATE item SET retired_on = '2026-01-01'", "retired_for_a_reason"),
        ("UPDATE upkeep_task SET every_months = NULL", "has_a_clock"),
    ],
)
def test_the_database_knows_the_rules_by_name(room: Room, shop: Shop, statement: str, name: str) -> None:
    shop.task("calibration", "wrench", every_months=12)
    shop.item(shop.model("wrench"), shop.site())

    with pytest.raises(DBAPIError, match=name), room.act() as db:
        db.execute(text(statement))
