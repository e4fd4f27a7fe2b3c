"""What changes over months: rejects by model, concessions per 100 items handed out, who has drifted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from sqlalchemy import bindparam, case, exists, func, select
from sqlalchemy.orm import aliased

from fleet.lists.rows import lines
from fleet.measures.times import add_months, start_of_day, zone
from fleet.records import (
    CalibrationRow,
    ConcessionRow,
    InspectionRow,
    ItemRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
)
from fleet.rules.evidence import Answer, Standing

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine

YEAR = timedelta(days=365)
MONTHS = 12


@dataclass(frozen=True, slots=True)
class MonthRate:
    """One month of a site: how many items went out, and how many concessions were granted."""

    first_day: date
    handed_out: int
    concessions: int

    @property
    def per_hundred(self) -> float | None:
        """Concessions per 100 items handed out; nothing where nothing went out."""
        return 100 * self.concessions / self.handed_out if self.handed_out else None


@dataclass(frozen=True, slots=True)
class RejectLine:
    """One model: how many inspections there were, and how many of them were rejects."""

    kind: str
    model: str
    inspections: int
    rejects: int

    @property
    def share(self) -> float:
        """Rejects in percent of the inspections."""
        return 100 * self.rejects / self.inspections


@dataclass(frozen=True, slots=True)
class CalibratedLine:
    """An item of which several certificates are on record."""

    tag: str
    kind: str
    model: str
    certificates: int
    last_on: date


_LATER = aliased(InspectionRow)
_INSTANT = LoanRow.issued_at.type


def _month(at: Any) -> Any:  # noqa: ANN401  A column in, a number out.
    """Which month an instant lies in: its place among the beginnings that are handed in."""
    begins = [(at < bindparam(f"begin_{month + 1}", type_=_INSTANT), month) for month in range(MONTHS)]
    return case(*begins, else_=MONTHS)


_HANDED_OUT_IN, _GRANTED_IN = _month(LoanRow.issued_at), _month(ConcessionRow.starts_at)
_HANDED_OUT = (
    select(_HANDED_OUT_IN.label("month"), func.count().label("number"))
    .select_from(LoanRow)
    .join(LoanLineRow, LoanLineRow.loan_id == LoanRow.id)
    .where(LoanRow.site_id == bindparam("site"), LoanRow.issued_at >= bindparam("begin_0", type_=_INSTANT))
    .group_by(_HANDED_OUT_IN)
)
_GRANTED = (
    select(_GRANTED_IN.label("month"), func.count().label("number"))
    .join(ItemRow, ItemRow.id == ConcessionRow.item_id)
    .where(
        ItemRow.site_id == bindparam("site"), ConcessionRow.starts_at >= bindparam("begin_0", type_=_INSTANT)
    )
    .group_by(_GRANTED_IN)
)
_REJECTS = (
    select(
        ModelRow.kind,
        ModelRow.designation,
        func.count().label("inspections"),
        func.sum(case((InspectionRow.result == Answer.REJECT, 1), else_=0)).label("rejects"),
    )
    .select_from(InspectionRow)
    .join(ItemRow, ItemRow.id == InspectionRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(
        ItemRow.site_id == bindparam("site"),
        InspectionRow.inspected_on > bindparam("since", type_=InspectionRow.inspected_on.type),
        InspectionRow.withdraws_id.is_(None),
        ~exists().where(_LATER.withdraws_id == InspectionRow.id),
    )
    .group_by(ModelRow.id, ModelRow.kind, ModelRow.designation)
)
_CALIBRATED = (
    select(
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        func.count().label("certificates"),
        func.max(CalibrationRow.calibrated_on),
    )
    .join(CalibrationRow, CalibrationRow.item_id == ItemRow.id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(
        ItemRow.site_id == bindparam("site"),
        ItemRow.retired_on.is_(None),
        CalibrationRow.standing != Standing.REFUSED,
    )
    .group_by(ItemRow.id, ItemRow.tag, ModelRow.kind, ModelRow.designation)
    .order_by(func.max(CalibrationRow.calibrated_on).desc(), ItemRow.tag)
    .limit(bindparam("most"))
)


def concession_rate(db: Connection, site: SiteLine, *, now: datetime) -> list[MonthRate]:
    """The last twelve calendar months of the site, this one included, the oldest first."""
    this = site.today(now).replace(day=1)
    firsts = [add_months(this, month - MONTHS + 1) for month in range(MONTHS + 1)]
    begins = {f"begin_{at}": start_of_day(day, zone(site.time_zone)) for at, day in enumerate(firsts)}
    asked = {"site": site.id, **begins}
    out, granted = (
        {row.month: row.number for row in db.execute(statement, asked)}
        for statement in (_HANDED_OUT, _GRANTED)
    )
    return [MonthRate(firsts[at], out.get(at, 0), granted.get(at, 0)) for at in range(MONTHS)]


def rejects(db: Connection, site: SiteLine, *, now: datetime) -> list[RejectLine]:
    """Inspections of the last 365 days by model, where most were rejects first; withdrawn ones left out."""
    asked = {"site": site.id, "since": site.today(now) - YEAR}
    found = lines(RejectLine, db.execute(_REJECTS, asked))
    return sorted(found, key=lambda line: (-line.rejects, -line.share, line.kind, line.model))


def calibrated(db: Connection, site: SiteLine, *, most: int = 50) -> list[CalibratedLine]:
    """Items with certificates on record, the last calibrated first."""
    return lines(CalibratedLine, db.execute(_CALIBRATED, {"site": site.id, "most": most}))
