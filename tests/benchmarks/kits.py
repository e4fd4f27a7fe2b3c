"""The kit search against its statements on the bare driver, over growing fleets, and with no pump left."""

from __future__ import annotations

import statistics
import time
from contextlib import contextmanager
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

from fleet.bolting.figures import Units
from fleet.lists.jobs import find_job
from fleet.lists.kit_answers import Asked
from fleet.lists.kit_finding import find_kits
from fleet.lists.kit_search import Search
from fleet.lists.kits import window_of
from fleet.lists.sites import find_site
from fleet.rules.kit_search import Limits
from fleet.rules.kits import JointFacts
from tests.benchmarks.fleet_of import NOW, NOW_TEXT, room_of, site_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from sqlalchemy.engine import Connection

    from fleet.room import Room

QUICK = (10_000, 100_000)
FULL = (10_000, 100_000, 1_000_000)
ROUNDS = 60
TORQUES = (900.0, 1500.0, 2600.0, 4100.0, 6300.0, 9000.0)
FLATS = 60.325
DRIVES = (19.05, 25.4, 38.1, 63.5)
TOPS = (1500.0, 2500.0, 4500.0, 7000.0, 12_000.0, 20_000.0)
# Model ids by kind: 1 to 12 wrenches, then pumps, hoses, gauges and sockets.
PUMPS, HOSES, GAUGES, SOCKETS = range(20, 26), range(30, 36), range(40, 44), range(50, 54)


def run(folder: Path, *, full: bool = False) -> None:
    """Print the ratio to the bare statements, the growth, and what a room without pumps costs."""
    spent = {}
    for items in FULL if full else QUICK:
        with stocked(folder / f"kits-{items}.db", items) as room:
            spent[items] = _print_one(room, items)
            if items == QUICK[-1]:
                _without_pumps(room, spent[items][0])
    for items in list(spent)[1:]:
        growth = [after / before for after, before in zip(spent[items], spent[QUICK[0]], strict=True)]
        print(
            f"kit search, {items:,} items against {QUICK[0]:,}: {growth[0]:.2f}, without the gate "
            f"{growth[1]:.2f}, the bare statements {growth[2]:.2f} (goal 1.30)"
        )


def _print_one(room: Room, items: int) -> tuple[float, float, float]:
    whole, found, bare = _race(room, 1)
    print(
        f"kit search, {items:,} items, one kit with the gate: {whole * 1e3:.2f} ms; its two steps alone "
        f"{found * 1e3:.2f} ms; their statements on the bare driver {bare * 1e3:.2f} ms: "
        f"{whole / bare:.2f} and {found / bare:.2f} (goal 4.00)"
    )
    return whole, found, bare


def _without_pumps(room: Room, normal: float) -> None:
    with room.act() as db:
        raw: Any = db.connection.dbapi_connection
        raw.execute(
            "INSERT INTO reservation (client_id,item_id,job_id,starts_at,ends_at,reserved_at,reserved_by_id) "
            "SELECT 'p'||id,id,2,?,?,?,1 FROM item WHERE fit LIKE 'pump%' AND site_id=1 AND NOT EXISTS "
            "(SELECT 1 FROM reservation r WHERE r.item_id=item.id)",
            (NOW_TEXT, "2026-06-20T00:00:00.000000Z", NOW_TEXT),
        )
    taken = []
    with room.look() as db:
        for number in range(12):
            begun = time.perf_counter()
            # With the tallies of why, which read the whole site.
            if find_kits(db, _asked(db, TORQUES[number % len(TORQUES)])).alternatives:
                raise RuntimeError("a kit without a pump")
            taken.append(time.perf_counter() - begun)
    scarce = statistics.median(taken)
    print(
        f"kit search, every pump taken: {scarce * 1e3:.1f} ms, {scarce / normal:.1f} times normal (goal 50)"
    )


def _race(room: Room, kits: int) -> tuple[float, float, float]:
    """Median seconds of the whole search, of its two steps without the gate, and of their bare statements.

    They take turns, so that a busy machine slows all alike.
    """
    times: tuple[list[float], list[float], list[float]] = ([], [], [])
    with room.look() as db:
        bare = {nm: _replay(db, nm) for nm in TORQUES}
        for number in range(ROUNDS):
            nm = TORQUES[number % len(TORQUES)]
            asked = _asked(db, nm)
            runners: tuple[Callable[[], object], ...] = (
                partial(_whole, db, asked),
                partial(_steps, db, asked, kits),
                bare[nm],
            )
            for runner, taken in zip(runners, times, strict=True):
                begun = time.perf_counter()
                if not runner():
                    raise RuntimeError("no kit")
                taken.append(time.perf_counter() - begun)
    whole, found, floor = (statistics.median(taken) for taken in times)
    return whole, found, floor


def _whole(db: Connection, asked: Asked) -> object:
    return Search(db, asked).alternatives()


def _steps(db: Connection, asked: Asked, kits: int) -> object:
    return Search(db, asked)._candidates(kits)  # noqa: SLF001  The two steps without the gate.


def _replay(db: Connection, nm: float) -> Callable[[], object]:
    """The statements of the two steps with their parameters, as one bare connection would send them."""
    raw: Any = db.connection.driver_connection
    sent: list[str] = []
    raw.set_trace_callback(sent.append)
    _steps(db, _asked(db, nm), 1)
    raw.set_trace_callback(None)
    return lambda: [raw.execute(sql).fetchall() for sql in sent]


def _asked(db: Connection, nm: float) -> Asked:
    job, site = find_job(db, "J-1"), find_site(db, "S1")
    joint = JointFacts("F-1", nm / 1.5, 1.5, "rusted studs, years in salt air", FLATS)
    window = window_of(job, site)
    units = Units(site.pressure_unit, site.torque_unit)
    if window.units != units:
        raise RuntimeError("units of another site")
    return Asked(job, site, joint, Limits(), window, 0.1, 1, NOW)


@contextmanager
def stocked(path: Path, items: int) -> Iterator[Room]:
    """A room of ten sites with every kind of kit, a fifth of it reserved for another job."""
    with room_of(path, items, due=0) as room:
        with room.act() as db:
            raw: Any = db.connection.dbapi_connection
            _models(raw)
            _items(raw, items)
        yield room


def _models(raw: Any) -> None:  # noqa: ANN401  The driver's own connection.
    raw.execute("INSERT INTO coupling (id,series,size,mwp_mpa,flush_face) VALUES (1,'A','3/8',72,0)")
    raw.execute("INSERT INTO coupling (id,series,size,mwp_mpa,flush_face) VALUES (2,'G','1/2',100,0)")
    raw.execute("INSERT INTO job SELECT 2,site_id,'J-2',name,starts_at,ends_at,crews FROM job WHERE id=1")
    model = (
        "INSERT OR REPLACE INTO model (id,designation,kind,head,mwp_advance_mpa,mwp_retract_mpa,drive_mm,"
        "across_flats_mm,relief_advance_mpa,relief_retract_mpa,range_mpa,graduation_mpa,accuracy_class,"
        "burst_ratio) VALUES (?,?,?,?,70,70,?,?,?,?,?,?,?,4)"
    )
    none = (None,) * 5
    for number in range(1, 13):
        drive = DRIVES[(number - 1) % 4]
        row = (number, f"W{number}", "wrench", "square drive", drive, None, *none, None)
        raw.execute(model, row[:11])
        raw.execute(
            "INSERT INTO chart (id,model_id,source,entered_at) VALUES (?,?,'p',?)", (number, number, NOW_TEXT)
        )
        top = TOPS[(number - 1) % len(TOPS)]
        raw.executemany(
            "INSERT INTO chart_point (chart_id,pressure_written,pressure_mpa,torque_written,torque_nm) "
            "VALUES (?,'x',?,'x',?)",
            [(number, mpa, top * mpa / 70) for mpa in (3.5, 35.0, 70.0)],
        )
        _ports(raw, number, [("advance", "pump", "female", 1), ("retract", "pump", "male", 1)])
    for number in PUMPS:
        raw.execute(model, (number, f"P{number}", "pump", None, None, None, 70.0, 10.0, None, None, None))
        sides = [
            ("advance", "tool", "male", 1),
            ("retract", "tool", "female", 1),
            ("advance", "gauge", "female", 2),
        ]
        _ports(raw, number, sides)
    for number in HOSES:
        raw.execute(model, (number, f"H{number}", "hose", *(None,) * 8))
        sides = [("advance", "pump", "female", 1), ("advance", "tool", "male", 1)]
        _ports(raw, number, [*sides, ("retract", "pump", "male", 1), ("retract", "tool", "female", 1)])
    for number in GAUGES:
        raw.execute(model, (number, f"G{number}", "gauge", None, None, None, None, None, 100.0, 0.5, "1.6"))
        raw.execute("UPDATE model SET mwp_advance_mpa=100 WHERE id=?", (number,))
        _ports(raw, number, [("advance", "pump", "male", 2)])
    for number, drive in zip(SOCKETS, DRIVES, strict=True):
        raw.execute(model, (number, f"S{number}", "socket", None, drive, FLATS, *none))


def _ports(raw: Any, model: int, sides: list[tuple[str, str, str, int]]) -> None:  # noqa: ANN401  As above.
    raw.executemany(
        "INSERT INTO port (model_id,line,faces,half,coupling_id) VALUES (?,?,?,?,?)",
        [(model, *side) for side in sides],
    )


def _items(raw: Any, items: int) -> None:  # noqa: ANN401  As above.
    """Four tenths wrenches, two tenths pumps and hoses each, a tenth gauges and sockets each."""
    kinds = (range(1, 13),) * 4 + (PUMPS,) * 2 + (HOSES,) * 2 + (GAUGES, SOCKETS)
    rows = []
    for number in range(1, items + 1):
        models = kinds[number % 10]
        model = models[number // 10 % len(models)]
        rows.append((model, *_fit(model, number), NOW_TEXT[:10], number))
    raw.executemany("UPDATE item SET model_id=?, fit=?, strength=?, assembled_on=? WHERE id=?", rows)
    until = f"{NOW + timedelta(days=90):%Y-%m-%dT%H:%M:%S.%fZ}"
    raw.executemany(
        "INSERT INTO reservation (client_id,item_id,job_id,starts_at,ends_at,reserved_at,reserved_by_id) "
        "VALUES (?,?,2,?,?,?,1)",
        (
            (f"r{n}", n, NOW_TEXT, until, NOW_TEXT)
            for n in range(1, items + 1)
            if n // 10 % 5 == site_of(n, items) % 5
        ),
    )


def _fit(model: int, number: int) -> tuple[str, float | None]:
    if model in SOCKETS:
        return f"socket {round(DRIVES[model - 50] * 1e6)} {round(FLATS * 1e6)}", None
    if model >= 20:
        return f"{'pump' if model in PUMPS else 'hose' if model in HOSES else 'gauge'} {model}", (
            100.0 if model in GAUGES else 70.0
        )
    # Not two wrenches alike: each could have a chart of its own.
    return f"wrench square drive {round(DRIVES[(model - 1) % 4] * 1e6)}", TOPS[
        (model - 1) % 6
    ] + number % 97 / 1e3
