"""What one item touched in a span of days: every loan, job and joint, with the charts in force then."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

from sqlalchemy import BindParameter, bindparam, case, func, or_, select

from fleet.bolting.charts import Chart, ChartPoint, make_chart
from fleet.bolting.parts import Kind
from fleet.measures.times import local_day, zone
from fleet.records import (
    ChartPointRow,
    ChartRow,
    ItemRow,
    JobRow,
    JointRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    PersonRow,
    ReservationRow,
    SiteRow,
    UsageRow,
)
from fleet.rules.impact import Touched

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow

_DAYS = {name: bindparam(name, type_=UsageRow.used_on.type) for name in ("since", "until")}
_IDS: BindParameter[int] = bindparam("ids", expanding=True)
_JOBS_ASKED: BindParameter[int] = bindparam("jobs", expanding=True)
_ITEM = (
    select(ItemRow.id, ItemRow.model_id, ModelRow.kind, SiteRow.time_zone)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .where(ItemRow.id == bindparam("item"))
)
# A reversal stands on the day, loan, job and joint of what it takes back: together they come to nothing.
_USE = (
    select(
        UsageRow.loan_line_id,
        UsageRow.job_id,
        UsageRow.joint_id,
        func.min(UsageRow.used_on),
        func.max(UsageRow.used_on),
        func.sum(UsageRow.cycles),
        func.sum(UsageRow.minutes),
        func.min(UsageRow.recorded_at, type_=UsageRow.recorded_at.type),
    )
    .where(
        UsageRow.item_id == bindparam("item"),
        UsageRow.used_on >= _DAYS["since"],
        UsageRow.used_on <= _DAYS["until"],
    )
    .group_by(UsageRow.loan_line_id, UsageRow.job_id, UsageRow.joint_id)
    .having(func.sum(case((UsageRow.reverses_id.is_(None), 1), else_=-1)) > 0)
)
_LOANS = (
    select(
        LoanLineRow.id,
        LoanRow.id.label("loan"),
        LoanRow.job_id,
        PersonRow.name,
        LoanRow.issued_at,
        LoanLineRow.returned_at,
    )
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(PersonRow, PersonRow.id == LoanRow.borrower_id)
    .where(LoanLineRow.item_id == bindparam("item"))
)
_JOINTS = (
    select(
        JobRow.id.label("job_id"),
        JobRow.code,
        JointRow.id.label("joint_id"),
        JointRow.mark,
        JointRow.torque_nm,
        JointRow.tolerance_percent,
    )
    .outerjoin(JointRow, JointRow.job_id == JobRow.id)
    .where(JobRow.id.in_(_JOBS_ASKED))
    .order_by(JobRow.id, JointRow.mark)
)
_KEPT = select(ReservationRow.item_id, ReservationRow.job_id, ReservationRow.joint_id).where(
    ReservationRow.job_id.in_(_JOBS_ASKED),
    ReservationRow.item_id.in_(_IDS),
    ReservationRow.ended_at.is_(None),
)
_WITH = (
    select(LoanLineRow.loan_id, LoanLineRow.item_id, ItemRow.model_id)
    .join(ItemRow, ItemRow.id == LoanLineRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(LoanLineRow.loan_id.in_(bindparam("loans", expanding=True)), ModelRow.kind == Kind.WRENCH.value)
    .order_by(LoanLineRow.id)
)
_CHARTS = (
    select(
        ChartRow.id,
        ChartRow.model_id,
        ChartRow.item_id,
        ChartRow.source,
        ChartRow.entered_at,
        ChartRow.replaced_at,
        ChartPointRow.pressure_mpa,
        ChartPointRow.torque_nm,
    )
    .join(ChartPointRow, ChartPointRow.chart_id == ChartRow.id)
    .where(
        ChartRow.model_id.in_(bindparam("models", expanding=True)),
        or_(ChartRow.item_id.is_(None), ChartRow.item_id.in_(_IDS)),
    )
    .order_by(ChartRow.id, ChartPointRow.pressure_mpa)
)


@dataclass(frozen=True, slots=True)
class _Use:
    """What was booked for one loan, job and joint; no joint means that nobody said which."""

    line: int | None
    job: int | None
    joint: int | None
    first_on: date
    last_on: date
    cycles: int
    minutes: int
    at: datetime


@dataclass(frozen=True, slots=True)
class _Charted:
    """A chart and for how long it was in force."""

    chart: Chart
    entered_at: datetime
    replaced_at: datetime | None

    def in_force(self, at: datetime) -> bool:
        """Whether it was the chart to be read at that instant."""
        return self.entered_at <= at and (self.replaced_at is None or at < self.replaced_at)


@dataclass(frozen=True, slots=True)
class _Around:
    """Everything on record around the loans: read with one question each, however many there are."""

    loans: Mapping[int, AnyRow]
    joints: Mapping[int, Sequence[AnyRow]]
    kept: Mapping[tuple[int, int], set[int]]
    wrenches: Mapping[int, Sequence[tuple[int, int]]]
    charts: Mapping[tuple[int, int | None], Sequence[_Charted]] = field(default_factory=dict)


def trace(db: Connection, item_id: int, *, since: date | None, until: date) -> list[Touched]:
    """Every loan, job and joint that the item touched from ``since`` (or ever) through ``until``, by day.

    A joint is the one its use was booked for, else those for which the item was reserved on that job, else
    all joints of the job: too many rather than too few.
    """
    item = db.execute(_ITEM, {"item": item_id}).one()
    begin = since or date.min
    loans = {row.id: row for row in db.execute(_LOANS, {"item": item_id})}
    uses = [_Use(*row) for row in db.execute(_USE, {"item": item_id, "since": begin, "until": until})]
    uses += _unbooked(uses, loans.values(), item.time_zone, begin, until)
    around = _around(db, item, loans, uses)
    found = [line for use in uses for line in _lines(item, use, around, begin)]
    return sorted(found, key=lambda one: (one.first_on, one.loan or 0, one.job or "", one.joint or ""))


def _unbooked(
    uses: Sequence[_Use], loans: Iterable[AnyRow], time_zone: str, begin: date, until: date
) -> list[_Use]:
    """Loans of which no use was booked, such as those that are still out: the item may have been used."""
    booked = {use.line for use in uses}
    there = zone(time_zone)
    found = []
    for loan in loans:
        first = local_day(loan.issued_at, there)
        last = local_day(loan.returned_at, there) if loan.returned_at else until
        if loan.id not in booked and last >= begin and first <= until:
            found.append(_Use(loan.id, loan.job_id, None, first, min(last, until), 0, 0, loan.issued_at))
    return found


def _around(db: Connection, item: AnyRow, loans: Mapping[int, AnyRow], uses: Sequence[_Use]) -> _Around:
    jobs = {"jobs": sorted({use.job for use in uses if use.job is not None})}
    numbers = sorted({loans[use.line].loan for use in uses if use.line is not None})
    wrenches: defaultdict[int, list[tuple[int, int]]] = defaultdict(list)
    if item.kind == Kind.WRENCH:
        owners = {(item.id, item.model_id)}
    else:
        for loan, wrench, model in db.execute(_WITH, {"loans": numbers}):
            wrenches[loan].append((wrench, model))
        owners = {owner for loan in wrenches.values() for owner in loan}
    joints: defaultdict[int, list[AnyRow]] = defaultdict(list)
    for row in db.execute(_JOINTS, jobs):
        joints[row.job_id].append(row)
    ids = sorted({item.id} | {wrench for wrench, _ in owners})
    kept: defaultdict[tuple[int, int], set[int]] = defaultdict(set)
    for holder, job, joint in db.execute(_KEPT, jobs | {"ids": ids}):
        if joint is not None:
            kept[holder, job].add(joint)
    charts = _charts(db, ids, sorted({model for _, model in owners}))
    return _Around(loans, joints, kept, wrenches, charts)


def _charts(
    db: Connection, ids: Sequence[int], models: Sequence[int]
) -> dict[tuple[int, int | None], list[_Charted]]:
    points: defaultdict[Any, list[ChartPoint]] = defaultdict(list)
    for number, model, item, source, entered_at, replaced_at, pressure, torque in db.execute(
        _CHARTS, {"ids": ids, "models": models}
    ):
        points[number, model, item, source, entered_at, replaced_at].append(ChartPoint(pressure, torque))
    found: defaultdict[tuple[int, int | None], list[_Charted]] = defaultdict(list)
    for (_number, model, item, source, entered_at, replaced_at), pairs in points.items():
        found[model, item].append(_Charted(make_chart(pairs, source), entered_at, replaced_at))
    return dict(found)


def _lines(item: AnyRow, use: _Use, around: _Around, begin: date) -> list[Touched]:
    """One line for each joint that this use may have been for."""
    loan = around.loans.get(use.line) if use.line is not None else None
    known = around.joints.get(use.job, ()) if use.job is not None else ()
    first = use.first_on
    if loan is not None:
        # It may have been used from the day it went out; the use itself is booked when it comes back.
        first = min(first, max(local_day(loan.issued_at, zone(item.time_zone)), begin))
    return [
        Touched(
            loan_line_id=use.line,
            loan=loan.loan if loan else None,
            borrower=loan.name if loan else None,
            job_id=use.job,
            job=known[0].code if known else None,
            joint_id=joint.joint_id if joint else None,
            joint=joint.mark if joint else None,
            target_torque_nm=joint.torque_nm if joint else None,
            tolerance_percent=joint.tolerance_percent if joint else None,
            first_on=first,
            last_on=use.last_on,
            cycles=int(use.cycles),
            minutes=int(use.minutes),
            charts=_charts_of(item, use, joint, around),
        )
        for joint in _joints(item.id, use, around, known)
    ]


def _joints(item_id: int, use: _Use, around: _Around, known: Sequence[AnyRow]) -> Sequence[AnyRow | None]:
    joints = [row for row in known if row.joint_id is not None]
    meant = {use.joint} if use.joint is not None else around.kept.get((item_id, use.job or 0), set())
    return [row for row in joints if row.joint_id in meant] or joints or [None]


def _charts_of(item: AnyRow, use: _Use, joint: AnyRow | None, around: _Around) -> tuple[Chart, ...]:
    """The charts read at the time: an item's own goes before its model's."""
    loan = around.loans.get(use.line) if use.line is not None else None
    if item.kind == Kind.WRENCH:
        wrenches: Sequence[tuple[int, int]] = [(item.id, item.model_id)]
    else:
        together = around.wrenches.get(loan.loan, ()) if loan else ()
        # Of several wrenches on one loan, those that were reserved for this very joint.
        wrenches = [
            one
            for one in together
            if joint and joint.joint_id in around.kept.get((one[0], use.job or 0), set())
        ] or together
    at = loan.issued_at if loan else use.at
    found = []
    for wrench, model in wrenches:
        own = [*around.charts.get((model, wrench), ()), *around.charts.get((model, None), ())]
        found += [charted.chart for charted in own if charted.in_force(at)][:1]
    return tuple(found)
