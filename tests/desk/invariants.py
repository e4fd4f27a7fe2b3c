"""What must be true of the records after every single act, whatever was done before."""

from __future__ import annotations

from collections import Counter
from contextlib import suppress
from itertools import combinations, pairwise
from typing import TYPE_CHECKING, Any

from sqlalchemy import select, text

from fleet import records
from fleet.ledgers.due_lines import refresh
from fleet.lists.daybook import Verified, chains, verify
from fleet.records.base import rows_of
from tests.desk import model

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.room import Room

APPEND_ONLY = (
    records.EntryRow,
    records.UsageRow,
    records.UpkeepRow,
    records.InspectionRow,
    records.InspectionAnswerRow,
    records.ProofTestRow,
    records.RepairRow,
    records.CalibrationPointRow,
)
# Rows of these are never taken away either, though some of their columns are filled in later.
KEPT = (
    records.LoanRow,
    records.LoanLineRow,
    records.HoldRow,
    records.ConcessionRow,
    records.ReservationRow,
    records.AwayRow,
    records.CalibrationRow,
    records.RecallRow,
    records.ItemRow,
    records.DueLineRow,
    records.TaskRow,
)
_READ = {
    table.name: select(table).order_by(*table.primary_key.columns)
    for table in map(rows_of, (*APPEND_ONLY, *KEPT))
}
HOURS_24 = 24 * 3600
Rows = dict[str, list[Any]]
Items = dict[str, dict[str, Any]]


class Undo(Exception):  # noqa: N818  No error: it only undoes what was tried.
    """Raised to leave the database as it was."""


def read_all(db: Connection) -> Rows:
    return {name: list(db.execute(statement)) for name, statement in _READ.items()}


def check_prefix(before: Rows, after: Rows) -> None:
    """No earlier row of a ledger changed, and none of any table is gone."""
    for entity in (*APPEND_ONLY, *KEPT):
        table = rows_of(entity)
        places = [list(table.columns).index(column) for column in table.primary_key.columns]
        old, new = (
            {tuple(row[at] for at in places): row for row in rows[table.name]} for rows in (before, after)
        )
        if entity in APPEND_ONLY:
            assert old == {key: new.get(key) for key in old}, f"an earlier row of {table.name} changed"
        elif entity is not records.DueLineRow:
            assert old.keys() <= new.keys(), f"{table.name} lost a row"


def check_day_book(db: Connection, rows: Rows) -> None:
    """Numbered 1 to n without gaps, each following the hash before it, at no earlier time."""
    for chain in chains(db):
        entries = [row for row in rows["daybook"] if row.chain == chain]
        assert [row.seq for row in entries] == list(range(1, len(entries) + 1))
        assert [a.hash for a, _ in pairwise(entries)] == [b.prev_hash for _, b in pairwise(entries)]
        assert all(a.recorded_at <= b.recorded_at for a, b in pairwise(entries))
        found = verify(db, chain)
        assert isinstance(found, Verified), found


def check_acknowledged(rows: Rows, acknowledged: list[tuple[str, str]]) -> None:
    """Everything that was answered is on record exactly once."""
    seen = Counter((name, row.client_id) for name in rows for row in rows[name] if hasattr(row, "client_id"))
    assert {key: seen[key] for key in acknowledged} == dict.fromkeys(acknowledged, 1)
    assert max(seen.values(), default=1) == 1


def check_whereabouts(rows: Rows, items: Items) -> None:
    """Every item is in one place: on the shelf, out, or away; and none came or went."""
    assert sorted(row.tag for row in rows["item"]) == sorted(items)
    out = Counter(row.item_id for row in rows["loan_line"] if row.returned_at is None)
    away = Counter(row.item_id for row in rows["away"] if row.back_at is None)
    assert max((out + away).values(), default=0) <= 1
    for row in rows["item"]:
        item = items[row.tag]
        assert (out[row.id] == 1) == (item["out"] is not None)
        assert (away[row.id] == 1) == (item["away"] is not None)
        assert (row.retired_on is not None) == item["retired"]
        held = sorted(h.id for h in rows["hold"] if h.item_id == row.id and h.released_at is None)
        assert held == sorted(h["number"] for h in item["holds"] if h["open"])


def check_meters(rows: Rows, items: Items) -> None:
    """What an item shows is what its ledger comes to, and what the model counted."""
    for row in rows["item"]:
        entries = [use for use in rows["usage"] if use.item_id == row.id]
        total = sum(use.cycles for use in entries), sum(use.minutes for use in entries)
        assert (row.cycles, row.minutes) == total == model.meter(items[row.tag])


def check_due_lines(rows: Rows, items: Items) -> None:
    """Every due line says what the model works out, and what is retired has none."""
    tasks = {row.id: row.name for row in rows["upkeep_task"]}
    tags = {row.id: row.tag for row in rows["item"]}
    found = {}
    for row in rows["due_line"]:
        left = None if row.use_left is None else round(row.use_left, 9)
        stand = (row.last_done_on, row.due_on, row.due_cycles, row.due_minutes, left)
        found[tags[row.item_id], tasks[row.task_id]] = stand
    expected = {}
    for tag, item in items.items():
        for task in model.TASKS[item["kind"]] if not item["retired"] else ():
            due = model.due(item, task)
            left = None if due["left"] is None else round(due["left"], 9)
            expected[tag, task] = (due["last"], due["due_on"], due["cycles"], due["minutes"], left)
    differ = {key: (found.get(key), expected.get(key)) for key in found.keys() | expected.keys()}
    amiss = {key: both for key, both in differ.items() if both[0] != both[1]}
    assert not amiss, f"on record, and on paper: {amiss}"


def check_fresh(room: Room, rows: Rows, now: datetime, touched: int | None) -> None:
    """A refresh changes nothing; forecasts move with the days, so only of what was just touched."""
    stale = {"forecast_on", "first_on", "recent_cycles", "recent_minutes"}

    def plain(lines: list[Any]) -> list[dict[str, Any]]:
        shown = []
        for line in lines:
            known = dict(line._mapping)  # noqa: SLF001  SQLAlchemy's own public way in.
            # A line without a meter is not moved by use; what was used of late says nothing there.
            leave = stale if touched != line.item_id or line.use_left is None else set()
            shown.append({key: value for key, value in known.items() if key not in leave})
        return shown

    fresh: list[Any] = []
    with suppress(Undo), room.act() as db:
        today = model.day_at(now)
        refresh(db, [row.id for row in rows["item"]], lambda _site: today)
        fresh = list(db.execute(_READ["due_line"]))
        raise Undo
    assert plain(fresh) == plain(rows["due_line"])


def check_blocks(rows: Rows) -> None:
    """No loan of anything began while it was on hold (recalls hold as well) or away."""
    issued = {row.id: row.issued_at for row in rows["loan"]}
    for line in rows["loan_line"]:
        began = issued[line.loan_id]
        blocks = [(h.opened_at, h.released_at) for h in rows["hold"] if h.item_id == line.item_id]
        blocks += [(a.sent_at, a.back_at) for a in rows["away"] if a.item_id == line.item_id]
        assert not [b for b in blocks if b[0] < began and (b[1] is None or began < b[1])]


def check_concessions(db: Connection, rows: Rows) -> None:
    """Two people, the one who grants a safety officer, a code, a sentence, and an end within a day."""
    safety = set(db.execute(text("SELECT person_id FROM role WHERE role = 'safety officer'")).scalars())
    for row in rows["concession"]:
        assert row.asked_by_id != row.granted_by_id
        assert row.granted_by_id in safety
        assert row.reason_code
        assert len(row.reason) >= 15
        assert 0 < (row.ends_at - row.starts_at).total_seconds() <= HOURS_24


def check_reservations(rows: Rows) -> None:
    """No two live windows of one item overlap."""
    for one, other in combinations((r for r in rows["reservation"] if r.ended_at is None), 2):
        if one.item_id == other.item_id:
            assert one.ends_at <= other.starts_at or other.ends_at <= one.starts_at


def check_second_entries(rows: Rows) -> None:
    """What takes an entry back names one earlier entry of the same item, once, and none like itself."""
    for name, column in (
        ("usage", "reverses_id"),
        ("inspection", "withdraws_id"),
        ("upkeep_done", "withdraws_id"),
    ):
        firsts = {row.id: row for row in rows[name]}
        named = [row for row in rows[name] if getattr(row, column) is not None]
        assert len({getattr(row, column) for row in named}) == len(named)
        for row in named:
            first = firsts[getattr(row, column)]
            assert first.id < row.id
            assert getattr(first, column) is None
            assert first.item_id == row.item_id
            assert row.reason
