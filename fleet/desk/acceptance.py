"""Accepting or refusing a certificate: a named, competent person decides once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select, update

from fleet.bolting.parts import Kind
from fleet.ledgers import daybook
from fleet.ledgers.strengths import rate_items
from fleet.ledgers.upkeep import write_done
from fleet.lists.away import open_trip
from fleet.lists.calibrations import CertificateLine, find_certificate, readings
from fleet.lists.competence import held_for
from fleet.lists.items import ItemLine, find_item
from fleet.lists.sites import SiteLine, find_site
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.records import CalibrationRow, ChartPointRow, ChartRow, DueLineRow, ItemRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.certified import chart_of, check_acceptable
from fleet.rules.competence import require_competence
from fleet.rules.evidence import Standing
from fleet.rules.people import Actor, require
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.certified import ChartedPair

_CALIBRATIONS, _CHARTS = rows_of(CalibrationRow), rows_of(ChartRow)
# On PostgreSQL two people must not decide at once; SQLite has its write lock.
_LOCK = select(ItemRow.id).where(ItemRow.id == bindparam("item")).with_for_update()
_ROW = (
    select(CalibrationRow.task_id, CalibrationRow.item_id, ItemRow.model_id)
    .join(ItemRow, ItemRow.id == CalibrationRow.item_id)
    .where(CalibrationRow.id == bindparam("number"))
)
_NEWER = select(CalibrationRow.calibrated_on).where(
    CalibrationRow.item_id == bindparam("item"),
    CalibrationRow.standing == Standing.ACCEPTED,
    CalibrationRow.calibrated_on > bindparam("day", type_=CalibrationRow.calibrated_on.type),
)
_DECIDE = (
    update(_CALIBRATIONS)
    .where(_CALIBRATIONS.c.id == bindparam("number"), _CALIBRATIONS.c.standing == Standing.RECEIVED)
    .values(
        standing=bindparam("decided"),
        decided_at=bindparam("now"),
        decided_by_id=bindparam("by"),
        decided_by_name=bindparam("name"),
        decision_note=bindparam("said"),
        chart_id=bindparam("chart"),
    )
)
_REPLACE = (
    update(_CHARTS)
    .where(_CHARTS.c.item_id == bindparam("item"), _CHARTS.c.replaced_at.is_(None))
    .values(replaced_at=bindparam("now"))
)
_ADD_CHART, _ADD_POINTS = insert(_CHARTS), insert(rows_of(ChartPointRow))
_DUE = select(DueLineRow.due_on, DueLineRow.due_cycles).where(
    DueLineRow.item_id == bindparam("item"), DueLineRow.task_id == bindparam("task")
)


@dataclass(frozen=True, slots=True)
class Decided:
    """What was decided: from and to which pressure the new chart runs, and when it is due next."""

    number: int
    tag: str
    standing: str
    result: str | None
    task: str
    charted: tuple[str, str] | None
    charted_mpa: tuple[float, float] | None
    holder: str | None
    on_hold: bool
    due_on: date | None
    due_cycles: int | None


def accept(db: Connection, number: int, note: str | None, *, by: Actor, now: datetime) -> Decided:
    """Accept a certificate that passed: the task is done, and a wrench goes by its own new chart."""
    line, item, site = _open(db, number, by=by, now=now)
    said = check_acceptable(number, line.standing, line.result, note)
    trip = open_trip(db, item.id)
    if trip:
        tag = show_tag(item.tag)
        raise NotPossible(f"{tag} is still away, at {trip.sent_to}. Take it back first: fleet back {tag}")
    newer = db.execute(_NEWER, {"item": item.id, "day": line.calibrated_on}).scalar()
    if newer:
        raise NotPossible(f"A newer certificate, of {show_day(newer)}, is accepted already. Refuse this one.")
    row = db.execute(_ROW, {"number": number}).one()
    pairs = _chart(db, line, row.model_id, item, now) if item.kind == Kind.WRENCH else None
    _decide(db, number, Standing.ACCEPTED, said, pairs[0] if pairs else None, by=by, now=now)
    write_done(
        db,
        item_id=item.id,
        task_id=row.task_id,
        done_on=line.calibrated_on,
        cycles_at=line.cycles_at,
        minutes_at=line.minutes_at,
        by=by,
        now=now,
        client_id=f"certificate/{number}",
        note=f"Certificate {line.number}, {line.laboratory}",
        calibration_id=number,
    )
    chart = pairs[1] if pairs else ()
    body = {
        "number": number,
        "certificate": line.number,
        "laboratory": line.laboratory,
        "result": line.result,
        "note": said,
        "task": line.task,
        "chart": [f"{pair.torque_written} at {pair.pressure_written}" for pair in chart],
    }
    daybook.enter(db, site.id, by=by, now=now, act="certificate accepted", about=item.tag, body=body)
    return _answer(db, number, row.task_id, chart)


def refuse(db: Connection, number: int, reason: str, *, by: Actor, now: datetime) -> Decided:
    """Refuse a certificate, with the reason; it stays on record and counts for nothing."""
    line, item, site = _open(db, number, by=by, now=now)
    why = written_reason(reason, "why the certificate is refused")
    if line.standing != Standing.RECEIVED:
        raise NotPossible(f"Certificate {number} is {line.standing} already; that is decided once.")
    _decide(db, number, Standing.REFUSED, why, None, by=by, now=now)
    body = {"number": number, "certificate": line.number, "laboratory": line.laboratory, "reason": why}
    daybook.enter(db, site.id, by=by, now=now, act="certificate refused", about=item.tag, body=body)
    task_id = db.execute(_ROW, {"number": number}).one().task_id
    return _answer(db, number, task_id, ())


def _open(
    db: Connection, number: int, *, by: Actor, now: datetime
) -> tuple[CertificateLine, ItemLine, SiteLine]:
    """The certificate and its item, locked, if this person may decide about it."""
    item = find_item(db, find_certificate(db, number).tag)
    db.execute(_LOCK, {"item": item.id})
    line = find_certificate(db, number)
    site = find_site(db, item.site)
    require(by, site.id, site.name, Role.KEEPER, Role.SAFETY)
    if item.retired_on:
        raise NotPossible(f"{show_tag(item.tag)} was retired on {show_day(item.retired_on)}.")
    held = held_for(db, item.kind)
    require_competence((by.id, by.name), item.kind, [line.task], held, today=site.today(now))
    return line, item, site


def _decide(
    db: Connection,
    number: int,
    standing: Standing,
    said: str | None,
    chart: int | None,
    *,
    by: Actor,
    now: datetime,
) -> None:
    row = {"number": number, "decided": standing, "said": said, "chart": chart}
    db.execute(_DECIDE, row | {"now": now, "by": by.id, "name": by.name})


def _chart(
    db: Connection, line: CertificateLine, model_id: int, item: ItemLine, now: datetime
) -> tuple[int, tuple[ChartedPair, ...]]:
    """Make the wrench's own chart of the deciding points; the one before stays on record."""
    source = f"certificate {line.number}, {line.laboratory}, {show_day(line.calibrated_on)}"
    pairs = chart_of(readings(db, line), source)
    db.execute(_REPLACE, {"item": item.id, "now": now})
    row = {
        "model_id": model_id,
        "item_id": item.id,
        "source": source,
        "entered_at": now,
        "replaced_at": None,
    }
    (chart,) = db.execute(_ADD_CHART, row).inserted_primary_key or (0,)
    points = [
        {
            "chart_id": chart,
            "pressure_written": pair.pressure_written,
            "pressure_mpa": pair.pressure_mpa,
            "torque_written": pair.torque_written,
            "torque_nm": pair.torque_nm,
        }
        for pair in pairs
    ]
    db.execute(_ADD_POINTS, points)
    rate_items(db, [item.id])
    return int(chart), pairs


def _answer(db: Connection, number: int, task_id: int, chart: tuple[ChartedPair, ...]) -> Decided:
    line = find_certificate(db, number)
    item = find_item(db, line.tag)
    due = db.execute(_DUE, {"item": item.id, "task": task_id}).first()
    return Decided(
        number=number,
        tag=line.tag,
        standing=line.standing,
        result=line.result,
        task=line.task,
        charted=(chart[0].pressure_written, chart[-1].pressure_written) if chart else None,
        charted_mpa=(chart[0].pressure_mpa, chart[-1].pressure_mpa) if chart else None,
        holder=item.holder,
        on_hold=item.on_hold,
        due_on=due.due_on if due else None,
        due_cycles=due.due_cycles if due else None,
    )
