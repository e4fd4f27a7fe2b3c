"""The ground under the other tests: a fresh database each time, on each engine."""

from collections.abc import Callable

import pytest
from sqlalchemy import create_engine, inspect, text

from tests.databases import Migrate


def carry_out(address: str, *statements: str) -> None:
    engine = create_engine(address)
    with engine.begin() as connection:
        for statement in statements:
            connection.execute(text(statement))
    engine.dispose()


def make_shelf(address: str) -> None:
    carry_out(address, "CREATE TABLE shelf (tag TEXT NOT NULL)", "INSERT INTO shelf VALUES ('W-1')")


def tables(address: str) -> list[str]:
    engine = create_engine(address)
    names = inspect(engine).get_table_names()
    engine.dispose()
    return names


@pytest.mark.parametrize("turn", ["first", "second"])
def test_a_new_database_is_empty_each_time(database_url: str, turn: str) -> None:
    assert tables(database_url) == [], turn
    make_shelf(database_url)


def test_what_one_test_writes_no_other_test_sees(
    engine_name: str, migrated_template: Callable[[str, Migrate], str]
) -> None:
    first = migrated_template(engine_name, make_shelf)
    carry_out(first, "DELETE FROM shelf")
    engine = create_engine(migrated_template(engine_name, make_shelf))
    with engine.connect() as connection:
        assert connection.execute(text("SELECT tag FROM shelf")).scalars().all() == ["W-1"]
    engine.dispose()
