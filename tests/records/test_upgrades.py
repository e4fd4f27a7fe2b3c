"""An older database with records in it is brought up to date: everything stays, and the new is filled in.

``room_0001.json`` holds rows as the first schema kept them on SQLite (invented). It is never made again.
"""

from __future__ import annotations

import base64
import json
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from alembic import command
from sqlalchemy import MetaData, create_engine, text
from sqlalchemy.exc import DBAPIError

from fleet.desk.returns import ReturnSlip, take_back
from fleet.lists.daybook import Verified, chains, verify
from fleet.room import SCHEMA, make_engine, open_room, upgrade_database
from tests.records.test_schema import config, of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sqlalchemy import Engine, Table

ROWS: dict[str, list[dict[str, Any]]] = json.loads(
    (Path(__file__).parent / "room_0001.json").read_text(encoding="utf-8")
)


def old_room(url: str) -> None:
    """A database as the first schema left it, with rows in every table."""
    command.upgrade(config(url), "0001")
    engine = make_engine(url)
    tables = MetaData()
    tables.reflect(engine)
    with engine.begin() as db:
        for name, rows in ROWS.items():
            db.execute(tables.tables[name].insert(), [as_kept(tables.tables[name], row) for row in rows])
            if db.dialect.name == "postgresql" and "id" in tables.tables[name].c:
                db.execute(text(f"SELECT setval(pg_get_serial_sequence('{name}', 'id'), 100000)"))
    engine.dispose()


def as_kept(table: Table, row: Mapping[str, Any]) -> dict[str, Any]:
    """The row with every column, each in the type its engine takes."""
    kept: dict[str, Any] = dict.fromkeys(table.c.keys())
    for name, value in row.items():
        kind = table.c[name].type.python_type
        if kind is bytes:
            value = base64.b64decode(value)  # noqa: PLW2901  The same value, in its type.
        elif kind is datetime:
            value = datetime.fromisoformat(value)  # noqa: PLW2901  As above.
        elif kind is date:
            value = date.fromisoformat(value)  # noqa: PLW2901  As above.
        elif kind is bool:
            value = bool(value)  # noqa: PLW2901  As above.
        kept[name] = value
    return kept


# Where the columns of a table are found now: what letters say is kept once for all who read it.
MOVED = {"letter": "letter JOIN letter_content USING (sha256)"}


def contents(
    engine: Engine, columns: Mapping[str, list[str]], places: Mapping[str, str]
) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table, by the columns given; ``places``: where those of a table are found."""
    found = {}
    with engine.connect() as db:
        for name, named in columns.items():
            rows = db.execute(text(f"SELECT {', '.join(named)} FROM {places.get(name, name)}"))
            found[name] = sorted(map(tuple, rows), key=repr)
    return found


def columns_of(url: str) -> dict[str, list[str]]:
    engine = create_engine(url)
    tables = MetaData()
    tables.reflect(engine)
    engine.dispose()
    return {name: [column.name for column in tables.tables[name].c] for name in ROWS}


def test_the_old_rows_are_of_every_table(database_url: str) -> None:
    command.upgrade(config(database_url), "0001")
    engine = create_engine(database_url)
    tables = MetaData()
    tables.reflect(engine)
    engine.dispose()
    assert set(tables.tables) - {"alembic_version"} == set(ROWS)


def test_nothing_on_record_is_lost_or_changed(database_url: str) -> None:
    old_room(database_url)
    columns = columns_of(database_url)
    engine = make_engine(database_url)
    before = contents(engine, columns, {})
    engine.dispose()

    upgrade_database(of(database_url))

    engine = make_engine(database_url)
    after = contents(engine, columns, MOVED)
    engine.dispose()
    assert sum(map(len, before.values())) == sum(map(len, ROWS.values()))
    assert after == before


def test_the_tables_are_those_of_a_new_database(database_url: str) -> None:
    old_room(database_url)
    upgrade_database(of(database_url))
    command.check(config(database_url))


def test_what_is_known_already_is_filled_in(database_url: str) -> None:
    old_room(database_url)
    upgrade_database(of(database_url))

    room = open_room(of(database_url))
    with room.look() as db:
        out = dict(map(tuple, db.execute(text("SELECT id, first_out_on FROM item"))))
        proofs = set(db.execute(text("SELECT proved_by FROM upkeep_task")).scalars())
        broken = [verify(db, chain) for chain in chains(db)]
    room.close()
    lent = {row["item_id"] for row in ROWS["loan_line"]}
    assert {item for item, day in out.items() if day is not None} == lent
    assert proofs == {"note"}
    assert all(isinstance(found, Verified) for found in broken), broken


def test_the_counter_goes_on_where_it_was(database_url: str) -> None:
    old_room(database_url)
    upgrade_database(of(database_url))
    line = next(row for row in ROWS["loan_line"] if "returned_at" not in row)
    tag = next(row["tag"] for row in ROWS["item"] if row["id"] == line["item_id"])
    keepers = [row["person_id"] for row in ROWS["role"] if row["role"] == "keeper"]
    keeper = next(row["badge"] for row in ROWS["person"] if row["id"] == keepers[0])

    room = open_room(of(database_url))
    with room.act() as db:
        by, now = room.sit(db, keeper)
        receipt = take_back(db, ReturnSlip("after-upgrade", tag, 12, 0, "fine"), by=by, now=now)
    room.close()
    assert receipt.tag == tag


@pytest.mark.parametrize("name", ["usage", "upkeep_done", "daybook", "letter_content", "letter_site"])
def test_the_old_ledgers_are_still_guarded(database_url: str, name: str) -> None:
    old_room(database_url)
    upgrade_database(of(database_url))
    engine = make_engine(database_url)
    with pytest.raises(DBAPIError, match="append-only"), engine.begin() as db:
        db.execute(text(f"DELETE FROM {name}"))
    engine.dispose()


def test_the_copy_made_before_is_the_old_database(database_url: str, engine_name: str) -> None:
    old_room(database_url)
    before, after, copy = upgrade_database(of(database_url))
    assert (before, after) == ("0001", SCHEMA)
    if engine_name == "postgres":
        assert copy is None
        return
    assert copy is not None
    engine = make_engine(f"sqlite:///{copy}")
    with engine.connect() as db:
        assert db.execute(text("SELECT version_num FROM alembic_version")).scalar() == "0001"
        assert db.execute(text("SELECT count(*) FROM item")).scalar() == len(ROWS["item"])
    engine.dispose()
