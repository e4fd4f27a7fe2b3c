"""What a failed calibration touched, over a ledger of 100,000 uses and over one a hundred times as large."""

from __future__ import annotations

import statistics
import time
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import pysqlite3.dbapi2 as sqlite

from fleet.ledgers.reviews import open_review
from fleet.lists.traces import trace
from fleet.room import begin
from tests.benchmarks.fleet_of import NOW, NOW_TEXT, add_job, room_of

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from fleet.room import Room

SMALL, QUICK, FULL = 100_000, 1_000_000, 10_000_000
ROUNDS = 60
# What the traced item did is the same in every ledger: so many uses, each on a loan of its own.
TOUCHED = 200
JOBS = 20
PER_LOAN = 10
TRACED = 1
FIRST = date(2023, 5, 13)
DAYS = 1095


def run(folder: Path, *, full: bool = False) -> None:
    """Print the median time over each ledger, and the ratio."""
    large = FULL if full else QUICK
    begun = time.perf_counter()
    with (
        room_of(folder / "small.db", SMALL // 100) as few,
        room_of(folder / "large.db", large // 100) as many,
    ):
        for room, name, uses in ((few, "small", SMALL), (many, "large", large)):
            room.close()
            _fill(folder / f"{name}.db", uses, uses // 100)
        filled = time.perf_counter() - begun
        traced, reviewed = _race(few, many)
    for what, (small, big) in (("trace", traced), ("trace, judge and write the review", reviewed)):
        print(
            f"failed calibration, {TOUCHED} uses touched, {what}: {big * 1e3:.1f} ms over {large:,} uses, "
            f"{small * 1e3:.1f} ms over {SMALL:,}: {big / small:.2f} (goal 1.20)"
        )
    print(f"(the ledgers were filled in {filled:.0f} s)")


def _race(*rooms: Room) -> tuple[list[float], list[float]]:
    """Median seconds of each room, of the trace and of the whole review.

    They take turns, so that a busy machine slows all alike.
    """
    traces: list[list[float]] = [[] for _ in rooms]
    whole: list[list[float]] = [[] for _ in rooms]
    for _ in range(ROUNDS):
        for at, room in enumerate(rooms):
            traces[at].append(_trace(room))
            whole[at].append(_review(room))
    return [statistics.median(taken) for taken in traces], [statistics.median(taken) for taken in whole]


def _trace(room: Room) -> float:
    with room.look() as db:
        begun = time.perf_counter()
        found = trace(db, TRACED, since=FIRST, until=NOW.date())
        spent = time.perf_counter() - begun
    if len(found) != TOUCHED:
        raise RuntimeError(f"{len(found)} lines instead of {TOUCHED}")
    return spent


def _review(room: Room) -> float:
    """Seconds to trace, judge and write one review, which is then undone."""
    with room.engine.connect() as db:
        begin(db, "BEGIN IMMEDIATE")
        by, now = room.sit(db, "K1")
        begun = time.perf_counter()
        open_review(
            db,
            item_id=TRACED,
            calibration_id=None,
            cause="As found 6 % low",
            error_at=lambda _pressure: -6.0,
            since_on=FIRST,
            until_on=NOW.date(),
            by=by,
            now=now,
        )
        spent = time.perf_counter() - begun
        db.rollback()
        return spent


def _fill(path: Path, uses: int, items: int) -> None:
    """Write the ledger as fast as may be; nothing of this is what a room does."""
    db: Any = sqlite.connect(path)
    for pragma in ("journal_mode=OFF", "synchronous=OFF", "foreign_keys=OFF", "cache_size=-400000"):
        db.execute(f"PRAGMA {pragma}")
    laid_by = db.execute(
        "SELECT name, type, sql FROM sqlite_master WHERE tbl_name IN ('usage', 'loan_line', 'loan') "
        "AND type IN ('index', 'trigger') AND sql IS NOT NULL"
    ).fetchall()
    for name, kind, _sql in laid_by:
        db.execute(f"DROP {kind} {name}")
    _fill_jobs(db)
    db.executemany(
        "INSERT INTO loan (id,client_id,site_id,job_id,borrower_id,issued_at,issued_by_id,back_on) "
        "VALUES (?,?,1,?,1,?,1,'2026-06-01')",
        ((n, f"loan{n:09}", 2 + n % JOBS, NOW_TEXT) for n in range(2, uses // PER_LOAN + 3)),
    )
    db.executemany(
        "INSERT INTO loan_line (id,loan_id,item_id,returned_at,returned_by_id,condition) "
        "VALUES (?,?,?,?,1,'fine')",
        _lines(uses, items),
    )
    db.executemany(
        "INSERT INTO usage "
        "(id,client_id,item_id,loan_line_id,job_id,cycles,minutes,used_on,by_id,recorded_at) "
        "VALUES (?,?,?,?,?,40,0,?,1,?)",
        _uses(uses, items),
    )
    for _name, _kind, sql in laid_by:
        db.execute(sql)
    db.commit()
    db.execute("PRAGMA journal_mode=WAL")
    db.close()


def _fill_jobs(db: Any) -> None:  # noqa: ANN401  The driver's own connection.
    for job in range(2, 2 + JOBS):
        add_job(db, job)
        db.execute(
            "INSERT INTO joint (job_id,mark,bolts,torque_written,torque_nm,tolerance_percent) "
            "VALUES (?,'A1',8,'900 N·m',900.0,5.0)",
            (job,),
        )
    db.execute(
        "INSERT INTO chart (id,model_id,source,entered_at) VALUES (1,1,'plate','2020-01-01T00:00:00.000000Z')"
    )
    for pressure in (10.0, 40.0, 70.0):
        db.execute(
            "INSERT INTO chart_point (chart_id,pressure_written,pressure_mpa,torque_written,torque_nm) "
            "VALUES (1,'x',?,'x',?)",
            (pressure, pressure * 30),
        )


def _item_of(number: int, uses: int, items: int) -> int:
    """The traced item's uses lie evenly among everybody's."""
    return TRACED if number % (uses // TOUCHED) == 0 else 2 + number % (items - 1)


def _lines(uses: int, items: int) -> Iterator[tuple[object, ...]]:
    for number in range(1, uses + 1):
        yield number, 2 + number // PER_LOAN, _item_of(number, uses, items), NOW_TEXT


def _uses(uses: int, items: int) -> Iterator[tuple[object, ...]]:
    days = [str(FIRST + timedelta(days=day)) for day in range(DAYS + 1)]
    for number in range(1, uses + 1):
        loan = 2 + number // PER_LOAN
        day = days[number * DAYS // uses]
        yield (
            number,
            f"use{number:010}",
            _item_of(number, uses, items),
            number,
            2 + loan % JOBS,
            day,
            NOW_TEXT,
        )
