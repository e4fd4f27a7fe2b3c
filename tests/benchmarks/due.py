"""The due list of 50 rows against its bare query, and at 100,000 items against 10,000."""

from __future__ import annotations

import statistics
import time
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from sqlalchemy.dialects import sqlite

from fleet.lists import due as due_list
from tests.benchmarks.fleet_of import NOW, room_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from fleet.room import Room

ROUNDS = 400
TODAY = NOW.date()
UNTIL = TODAY + timedelta(days=30)


def run(folder: Path) -> None:
    """Print the ratio to the bare query, and the growth over a tenfold fleet."""
    spent = {}
    for items in (10_000, 100_000):
        with room_of(folder / f"due-{items}.db", items) as room:
            bare, ours = _race(_bare(room), _ours(room))
        spent[items] = ours
        ratio = ours / bare
        figures = f"{ours * 1e3:.3f} ms, bare {bare * 1e3:.3f} ms: {ratio:.2f} (goal 2.00)"
        print(f"due list, {items:,} items, 50 rows: {figures}")
    growth = spent[100_000] / spent[10_000]
    print(f"due list, 100,000 items against 10,000: {growth:.2f} (goal 1.20)")


def _race(*runners: Callable[[], int]) -> list[float]:
    """Median seconds of each, taking turns, so that a busy machine slows both alike."""
    times: list[list[float]] = [[] for _ in runners]
    for _ in range(ROUNDS):
        for runner, taken in zip(runners, times, strict=True):
            begun = time.perf_counter()
            rows = runner()
            taken.append(time.perf_counter() - begun)
            if rows != 50:
                raise RuntimeError(f"{rows} rows instead of 50")
    return [statistics.median(taken) for taken in times]


def _ours(room: Room) -> Callable[[], int]:
    def ask() -> int:
        with room.look() as db:
            return len(due_list.due(db, 1, until=UNTIL, today=TODAY))

    return ask


def _bare(room: Room) -> Callable[[], int]:
    """The same SQL text on the driver, on a connection that stays open."""
    statement = due_list._DUE.statement.compile(dialect=sqlite.dialect(paramstyle="named"))  # noqa: SLF001  The very statement.
    sql = str(statement)
    connection = room.engine.raw_connection()
    db: Any = connection.driver_connection
    given = statement.params | {"site": 1, "until": str(UNTIL), "today": str(TODAY)}

    def ask() -> int:
        return len(db.execute(sql, given).fetchall())

    return ask
