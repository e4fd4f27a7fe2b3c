"""The proof tests of an item."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select
from sqlalchemy.orm import aliased

from fleet.lists.rows import lines
from fleet.records import ItemRow, ProofTestRow, TaskRow

if TYPE_CHECKING:
    from datetime import date

    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class ProofTestLine:
    """One proof test. The two pressures are of the line that came least far above what is asked for."""

    number: int
    task: str | None
    tested_on: date
    pressure_written: str
    pressure_mpa: float
    required_mpa: float
    held_seconds: int
    tight: bool
    passed: bool
    gauge: str | None
    note: str | None
    by_name: str


_GAUGE = aliased(ItemRow)
_TESTS = (
    select(
        ProofTestRow.id,
        TaskRow.name,
        ProofTestRow.tested_on,
        ProofTestRow.pressure_written,
        ProofTestRow.pressure_mpa,
        ProofTestRow.required_mpa,
        ProofTestRow.held_seconds,
        ProofTestRow.tight,
        ProofTestRow.passed,
        _GAUGE.tag,
        ProofTestRow.note,
        ProofTestRow.by_name,
    )
    .select_from(ProofTestRow)
    .outerjoin(TaskRow, TaskRow.id == ProofTestRow.task_id)
    .outerjoin(_GAUGE, _GAUGE.id == ProofTestRow.gauge_id)
    .where(ProofTestRow.item_id == bindparam("item"))
    .order_by(ProofTestRow.tested_on.desc(), ProofTestRow.id.desc())
)


def proof_tests(db: Connection, item_id: int) -> list[ProofTestLine]:
    """Every proof test of an item, the newest first: that one says whether it may go out."""
    return lines(ProofTestLine, db.execute(_TESTS, {"item": item_id}))
