"""A synthetic fleet of any size, filled in with bare SQL. The figures it gives are ratios, not promises."""

from __future__ import annotations

from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from fleet.measures.tags import make_tag
from fleet.room import Room, open_room, upgrade_database
from fleet.settings import read_settings

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

NOW = datetime(2026, 5, 13, 12, 0, tzinfo=UTC)
FIRST_TAG = 1000
NOW_TEXT = "2026-05-13T12:00:00.000000Z"


@contextmanager
def room_of(path: Path, items: int, *, out: int = 0, due: int = 50) -> Iterator[Room]:
    """A room with two upkeep tasks per item, ``out`` items out on loan and ``due`` lines near at site 1."""
    settings = read_settings({"FLEET_SETTINGS": "/nowhere"}, database=str(path))
    upgrade_database(settings)
    room = open_room(settings, clock=lambda: NOW)
    with room.act() as db:
        raw: Any = db.connection.dbapi_connection
        _fill(raw, items, out=out, due=due)
    yield room
    room.close()


def _fill(raw: Any, items: int, *, out: int, due: int) -> None:  # noqa: ANN401  The driver's own connection.
    raw.execute("PRAGMA defer_foreign_keys=ON")
    for site in range(1, 11):
        raw.execute(
            "INSERT INTO site (id,code,name,time_zone,pressure_unit,torque_unit,letter_weekday,letter_hour,"
            "spare_address) VALUES (?,?,?,'America/Chicago','psi','lbf·ft',0,6,'x@tool-room.example')",
            (site, f"S{site}", f"Site {site}"),
        )
    raw.execute("INSERT INTO person (id,badge,name,active) VALUES (1,'K1','Kim Keeper',1)")
    raw.execute("INSERT INTO role (id,person_id,site_id,role) VALUES (1,1,1,'keeper')")
    raw.execute("INSERT INTO model (id, designation, kind, head) VALUES (1,'W','wrench','square drive')")
    add_job(raw, 1)
    task = (
        "INSERT INTO upkeep_task (id,name,kind,every_months,every_cycles,counts_from,lead_days,stop) "
        "VALUES (?,?,'wrench',?,?,'last done',14,'soft')"
    )
    raw.execute(task, (1, "calibration", 12, 5000))
    raw.execute(task, (2, "inspection", 6, None))
    numbers = range(1, items + 1)
    raw.executemany(
        "INSERT INTO item (id,tag,model_id,serial,site_id,shelf,received_on,cycles,minutes) "
        "VALUES (?,?,1,?,?,'A1','2024-01-01',0,0)",
        ((n, make_tag(FIRST_TAG + n), f"S{n}", site_of(n, items)) for n in numbers),
    )
    raw.executemany(
        "INSERT INTO due_line (item_id,task_id,site_id,last_done_on,due_on,due_cycles,use_left,forecast_on,"
        "first_on,recent_cycles,recent_minutes,recent_days) VALUES (?,?,?,?,?,?,?,?,?,0,0,182)",
        _lines(items, due),
    )
    raw.execute(
        "INSERT INTO loan (id,client_id,site_id,job_id,borrower_id,issued_at,issued_by_id,back_on) "
        "VALUES (1,'l',1,1,1,?,1,'2026-06-01')",
        (NOW_TEXT,),
    )
    raw.executemany(
        "INSERT INTO loan_line (loan_id, item_id) VALUES (1,?)", ((n,) for n in range(1, out + 1))
    )


def add_job(raw: Any, number: int) -> None:  # noqa: ANN401  The driver's own connection.
    """One job at site 1."""
    raw.execute(
        "INSERT INTO job (id,site_id,code,name,starts_at,ends_at) VALUES (?,1,?,'Job',?,?)",
        (number, f"J-{number}", NOW_TEXT, "2026-06-13T12:00:00.000000Z"),
    )


def site_of(number: int, items: int) -> int:
    """The first tenth of the items stand at site 1, the others evenly at the rest."""
    return 1 if number <= items // 10 else 2 + number % 9


def _lines(items: int, due: int) -> Iterator[tuple[object, ...]]:
    day = NOW.date()
    for number in range(1, items + 1):
        near = site_of(number, items) == 1 and number <= due
        ahead = number % 20 - 5 if near else 90 + number % 200
        site = site_of(number, items)
        soon, late = str(day + timedelta(days=ahead)), str(day + timedelta(days=400))
        yield number, 1, site, "2026-01-01", soon, 5000, 1.0, None, soon
        yield number, 2, site, "2026-01-01", late, None, None, None, late
