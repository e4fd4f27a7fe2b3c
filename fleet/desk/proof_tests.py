"""Proof tests: what was held for how long, read on which gauge; whatever fails is kept in at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, insert, or_, select

from fleet.bolting.figures import Units
from fleet.bolting.parts import Line
from fleet.ledgers import daybook
from fleet.ledgers.holds import open_hold
from fleet.ledgers.upkeep import meter_then, write_done
from fleet.lists.competence import held_for
from fleet.lists.items import ItemLine, find_item
from fleet.lists.rows import lines
from fleet.lists.sites import find_site
from fleet.lists.tasks import tasks_of
from fleet.measures.quantities import Kind as Measured
from fleet.measures.quantities import Measure, read_measure
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.records import DueLineRow, ItemRow, ModelRow, ProofTestRow, TaskRow, UpkeepRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.competence import PROOF_TEST, require_competence
from fleet.rules.conditions import HoldCause
from fleet.rules.evidence import Proof
from fleet.rules.inspections import task_proved
from fleet.rules.people import Actor, require
from fleet.rules.proof_tests import (
    CalibrationStand,
    LineTest,
    ProofVerdict,
    check_gauge,
    judge_proof_test,
    lines_tested,
    mark_for,
    required_pressures,
)
from fleet.rules.register import Role
from fleet.rules.requests import used_otherwise

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine
    from fleet.rules.inspections import TaskFacts

_ADD = insert(rows_of(ProofTestRow))
_SAME = (
    select(
        ProofTestRow.id,
        ProofTestRow.item_id,
        ProofTestRow.tested_on,
        ProofTestRow.pressure_written,
        ProofTestRow.passed,
        TaskRow.name.label("fulfilled"),
    )
    .outerjoin(UpkeepRow, UpkeepRow.proof_test_id == ProofTestRow.id)
    .outerjoin(TaskRow, TaskRow.id == UpkeepRow.task_id)
    .where(ProofTestRow.client_id == bindparam("client"))
)
# On PostgreSQL nobody else may write about the item meanwhile; SQLite has its write lock.
_PLATE = (
    select(
        ItemRow.received_on,
        ModelRow.mwp_advance_written,
        ModelRow.mwp_advance_mpa,
        ModelRow.mwp_retract_written,
        ModelRow.mwp_retract_mpa,
        ModelRow.range_mpa,
    )
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(ItemRow.id == bindparam("item"))
)
_PLATE_LOCKED = _PLATE.with_for_update(of=ItemRow)
_CALIBRATIONS = (
    select(TaskRow.name, DueLineRow.last_done_on, DueLineRow.due_on, DueLineRow.use_left)
    .join(TaskRow, TaskRow.id == DueLineRow.task_id)
    .where(
        DueLineRow.item_id == bindparam("item"),
        or_(TaskRow.proved_by == Proof.CALIBRATION.value, func.lower(TaskRow.name).contains("calibration")),
    )
    .order_by(TaskRow.name)
)


@dataclass(frozen=True, slots=True)
class ProofTestSlip:
    """What was tested, at which pressure as read on which gauge, for how long, and whether it stayed tight.

    ``retract_pressure`` when the retract line is rated otherwise; ``required`` is what the maker's manual
    asks for of anything that is no hose. Pressures as written, with their units.
    """

    client_id: str
    item: str
    pressure: str
    held_seconds: int
    tight: bool
    gauge: str
    tested_on: date
    retract_pressure: str | None = None
    required: str | None = None
    task: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Proved:
    """What a proof test came to, with every reason why it is not passed."""

    number: int
    tag: str
    passed: bool
    reasons: tuple[str, ...]
    fulfilled: str | None
    held: bool
    again: bool = False


@dataclass(frozen=True, slots=True)
class _Judged:
    """A proof test that may be written."""

    written: str
    tested: tuple[LineTest, ...]
    verdict: ProofVerdict
    gauge: ItemLine
    task: TaskFacts | None


def record_proof_test(db: Connection, slip: ProofTestSlip, *, by: Actor, now: datetime) -> Proved:
    """Record one proof test by whoever acts. Not passed means on hold, and in until a later one is passed."""
    item = find_item(db, slip.item)
    before = _repeated(db, slip, item)
    if before:
        return before
    site = find_site(db, item.site)
    require(by, site.id, site.name, Role.KEEPER, Role.SAFETY)
    judged = _judge(db, slip, item, site, by=by, today=site.today(now))
    verdict = judged.verdict
    row = {
        "client_id": slip.client_id,
        "item_id": item.id,
        "task_id": judged.task.id if judged.task else None,
        "tested_on": slip.tested_on,
        "pressure_written": judged.written,
        "pressure_mpa": verdict.governing.pressure_mpa,
        "required_mpa": verdict.governing.required_mpa,
        "held_seconds": slip.held_seconds,
        "tight": slip.tight,
        "passed": verdict.passed,
        "gauge_id": judged.gauge.id,
        "note": slip.note,
        "by_id": by.id,
        "by_name": by.name,
        "recorded_at": now,
    }
    (number,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    body = _body(slip, judged, number)
    daybook.enter(db, site.id, by=by, now=now, act="proof tested", about=item.tag, body=body)
    fulfilled = _follow(db, slip, judged, number, item, by=by, now=now)
    return Proved(number, item.tag, verdict.passed, verdict.reasons, fulfilled, not verdict.passed)


def _repeated(db: Connection, slip: ProofTestSlip, item: ItemLine) -> Proved | None:
    """The answer given before to this very slip."""
    row = db.execute(_SAME, {"client": slip.client_id}).first()
    if row is None:
        return None
    if (row.item_id, row.tested_on) != (item.id, slip.tested_on):
        raise used_otherwise(slip.client_id)
    return Proved(row.id, item.tag, row.passed, (), row.fulfilled, not row.passed, again=True)


def _judge(
    db: Connection, slip: ProofTestSlip, item: ItemLine, site: SiteLine, *, by: Actor, today: date
) -> _Judged:
    """All that speaks against writing it: the day, the task, who tests, the figures, and the gauge."""
    tag, units = show_tag(item.tag), Units(site.pressure_unit, site.torque_unit)
    plate = db.execute(_PLATE_LOCKED, {"item": item.id}).one()
    _check_day(item, slip.tested_on, plate.received_on, today)
    task = task_proved(tag, tasks_of(db, item.id), Proof.PROOF_TEST, slip.task)
    wanted = (task.name if task else PROOF_TEST,)
    require_competence((by.id, by.name), item.kind, wanted, held_for(db, item.kind), today=today)
    advance = _pressure(slip.pressure)
    retract = _pressure(slip.retract_pressure) if slip.retract_pressure else None
    ratings = {
        Line.ADVANCE: mark_for(plate.mwp_advance_written, plate.mwp_advance_mpa, advance.unit),
        Line.RETRACT: mark_for(plate.mwp_retract_written, plate.mwp_retract_mpa, (retract or advance).unit),
    }
    asked = _pressure(slip.required).base if slip.required else None
    required = required_pressures(tag, item.kind, ratings, asked)
    tested = lines_tested(tag, required, advance.base, retract.base if retract else None, units)
    verdict = judge_proof_test(tested, held_seconds=slip.held_seconds, tight=slip.tight, units=units)
    gauge = _gauge(db, slip, max(one.pressure_mpa for one in tested), units)
    written = f"{advance.written}, retract {retract.written}" if retract else advance.written
    return _Judged(written, tested, verdict, gauge, task)


def _check_day(item: ItemLine, tested_on: date, received_on: date, today: date) -> None:
    tag = show_tag(item.tag)
    if item.retired_on:
        raise NotPossible(f"{tag} was retired on {show_day(item.retired_on)}.")
    if tested_on > today:
        raise NotPossible(f"{show_day(tested_on)} is still to come; only what was done is recorded.")
    if tested_on < received_on:
        raise NotPossible(f"{tag} was only received on {show_day(received_on)}.")


def _pressure(written: str) -> Measure:
    measure = read_measure(written, Measured.PRESSURE)
    if measure.base <= 0:
        raise NotPossible(f"{measure.written} is no pressure to test at; it must be above zero.")
    return measure


def _gauge(db: Connection, slip: ProofTestSlip, highest_mpa: float, units: Units) -> ItemLine:
    """The gauge that the pressure was read on, which must be sound itself."""
    gauge = find_item(db, slip.gauge)
    tag = show_tag(gauge.tag)
    if gauge.on_hold or gauge.retired_on:
        why = "is on hold" if gauge.on_hold else "is retired"
        raise NotPossible(f"Gauge {tag} {why}, so its reading proves nothing. Test again with another.")
    check_gauge(
        tag,
        gauge.kind,
        db.execute(_PLATE, {"item": gauge.id}).one().range_mpa,
        lines(CalibrationStand, db.execute(_CALIBRATIONS, {"item": gauge.id})),
        highest_mpa=highest_mpa,
        on=slip.tested_on,
        units=units,
    )
    return gauge


def _body(slip: ProofTestSlip, judged: _Judged, number: int) -> dict[str, object]:
    """What an auditor would ask; pressures in MPa beside what was written."""
    return {
        "proof_test": number,
        "task": judged.task.name if judged.task else None,
        "tested_on": str(slip.tested_on),
        "pressure": judged.written,
        "lines": [
            {"line": one.line, "held_mpa": one.pressure_mpa, "required_mpa": one.required_mpa}
            for one in judged.tested
        ],
        "held_seconds": slip.held_seconds,
        "tight": slip.tight,
        "passed": judged.verdict.passed,
        "reasons": judged.verdict.reasons,
        "gauge": judged.gauge.tag,
        "note": slip.note,
    }


def _follow(
    db: Connection,
    slip: ProofTestSlip,
    judged: _Judged,
    number: int,
    item: ItemLine,
    *,
    by: Actor,
    now: datetime,
) -> str | None:
    """The hold after a failure, or else the task that is done now; answers its name."""
    if not judged.verdict.passed:
        why = f"Proof test {number} was not passed: {' '.join(judged.verdict.reasons)}"
        open_hold(db, item_id=item.id, cause=HoldCause.INSPECTION, reason=why, by=by, now=now)
        return None
    if judged.task is None:
        return None
    cycles, minutes = meter_then(db, item.id, slip.tested_on)
    write_done(
        db,
        item_id=item.id,
        task_id=judged.task.id,
        done_on=slip.tested_on,
        cycles_at=cycles,
        minutes_at=minutes,
        by=by,
        now=now,
        client_id=f"{slip.client_id}/done",
        proof_test_id=number,
    )
    return judged.task.name
