"""A return, one writer, SQLite with synchronous=FULL, against four bare statements."""

from __future__ import annotations

import statistics
import time
from typing import TYPE_CHECKING, Any

from fleet.desk.returns import ReturnSlip, take_back
from fleet.measures.tags import make_tag
from tests.benchmarks.fleet_of import FIRST_TAG, NOW_TEXT, room_of

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.room import Room

ROUNDS = 5
EACH = 400
ITEMS = 100_000


def run(folder: Path) -> None:
    """Take turns of bare statements and whole acts, and print the median of the ratios."""
    with room_of(folder / "returns.db", ITEMS, out=ROUNDS * EACH) as room:
        raw_rates, act_rates = [], []
        for turn in range(ROUNDS):
            raw_rates.append(EACH / _raw(room, turn))
            act_rates.append(EACH / _acts(room, turn))
    ratio = statistics.median(act / raw for act, raw in zip(act_rates, raw_rates, strict=True))
    raw, act = statistics.median(raw_rates), statistics.median(act_rates)
    print(f"return: {act:,.0f} acts/s, bare four statements {raw:,.0f}/s: ratio {ratio:.2f} (goal 0.40)")


def _acts(room: Room, turn: int) -> float:
    begun = time.perf_counter()
    for number in range(turn * EACH + 1, (turn + 1) * EACH + 1):
        slip = ReturnSlip(f"r{number}", make_tag(FIRST_TAG + number), 10, 5, "fine")
        with room.act() as db:
            by, now = room.sit(db, "K1")
            take_back(db, slip, by=by, now=now)
    return time.perf_counter() - begun


def _raw(room: Room, turn: int) -> float:
    """What no return can do without, with the same data: the use, the meter, the due line, the day book."""
    connection = room.engine.raw_connection()
    db: Any = connection.driver_connection
    body = (
        '{"condition":"fine","cycles":10,"due_by_use":[],"minutes":5,"note":null,'
        '"usage":"1b4e28ba-2fa1-11d2-883f-0016d3cca427"}'
    )
    begun = time.perf_counter()
    for at in range(EACH):
        item = 50_000 + turn * EACH + at
        db.execute("BEGIN IMMEDIATE")
        db.execute(
            "INSERT INTO usage "
            "(client_id,item_id,loan_line_id,job_id,cycles,minutes,used_on,by_id,recorded_at) "
            "VALUES (?,?,1,1,10,5,?,1,?)",
            (f"raw{item}", item, "2026-05-13", NOW_TEXT),
        )
        db.execute(
            "UPDATE item SET cycles=cycles+10, minutes=minutes+5 WHERE id=? RETURNING cycles, minutes",
            (item,),
        ).fetchall()
        db.execute(
            "UPDATE due_line SET use_left=?, forecast_on=?, first_on=?, recent_cycles=?, recent_minutes=? "
            "WHERE item_id=? AND task_id=1",
            (0.998, "2026-08-11", "2026-08-11", 10, 5, item),
        )
        seq = turn * EACH + at
        db.execute(
            "INSERT INTO daybook VALUES (99,?,?,1,'Kim Keeper','returned',?,?,?,?)",
            (seq, NOW_TEXT, str(item), body, _digest(seq), _digest(seq + 1)),
        )
        db.execute("COMMIT")
    spent = time.perf_counter() - begun
    connection.close()
    return spent


def _digest(number: int) -> str:
    """As long and as scattered as the day book's own."""
    return f"{number * 0x9E3779B97F4A7C15 % 2**64:016x}" * 4
