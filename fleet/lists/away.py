"""What is at a laboratory or workshop, since when, and what is late."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import bindparam, exists, select
from sqlalchemy.orm import aliased

from fleet.lists.rows import lines
from fleet.measures.times import local_day, zone
from fleet.records import AwayRow, CalibrationRow, ItemRow, ModelRow, PersonRow
from fleet.rules.evidence import Errand

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow
    from fleet.lists.sites import SiteLine


@dataclass(frozen=True, slots=True)
class AwayLine:
    """One item that is away. Rule and tolerance were chosen before it went, for a calibration."""

    id: int
    tag: str
    kind: str
    model: str
    serial: str
    errand: str
    sent_to: str
    decision_rule: str | None
    tolerance_percent: float | None
    paired_gauge: str | None
    sent_at: datetime
    sent_by: str | None
    wanted_on: date | None
    note: str | None
    sent_on: date
    age_days: int
    overdue: bool


@dataclass(frozen=True, slots=True)
class Trip:
    """One time that an item was sent away."""

    id: int
    errand: str
    sent_to: str
    decision_rule: str | None
    tolerance_percent: float | None
    paired_gauge_id: int | None
    sent_at: datetime
    back_at: datetime | None


_GAUGE = aliased(ItemRow)
_AWAY = (
    select(
        AwayRow.id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.serial,
        AwayRow.errand,
        AwayRow.sent_to,
        AwayRow.decision_rule,
        AwayRow.tolerance_percent,
        _GAUGE.tag.label("paired_gauge"),
        AwayRow.sent_at,
        PersonRow.name,
        AwayRow.wanted_on,
        AwayRow.note,
    )
    .join(ItemRow, ItemRow.id == AwayRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .outerjoin(_GAUGE, _GAUGE.id == AwayRow.paired_gauge_id)
    .outerjoin(PersonRow, PersonRow.id == AwayRow.sent_by_id)
    .where(AwayRow.back_at.is_(None), ItemRow.site_id == bindparam("site"))
    .order_by(AwayRow.sent_at, ItemRow.tag)
)
_TRIP = select(
    AwayRow.id,
    AwayRow.errand,
    AwayRow.sent_to,
    AwayRow.decision_rule,
    AwayRow.tolerance_percent,
    AwayRow.paired_gauge_id,
    AwayRow.sent_at,
    AwayRow.back_at,
).where(AwayRow.item_id == bindparam("item"))
_OPEN = _TRIP.where(AwayRow.back_at.is_(None))
_AWAITED = (
    _TRIP.where(AwayRow.errand == Errand.CALIBRATION, ~exists().where(CalibrationRow.away_id == AwayRow.id))
    .order_by(AwayRow.sent_at.desc())
    .limit(1)
)


def away(db: Connection, site: SiteLine, *, now: datetime) -> list[AwayLine]:
    """Everything of the site that is away: what is wanted back and late first, then the longest away."""
    there, today = zone(site.time_zone), site.today(now)
    found = [_line(row, local_day(row.sent_at, there), today) for row in db.execute(_AWAY, {"site": site.id})]
    return sorted(found, key=_urgency)


def _urgency(line: AwayLine) -> tuple[bool, date]:
    return not line.overdue, line.wanted_on if line.overdue and line.wanted_on else line.sent_on


def _line(row: AnyRow, sent_on: date, today: date) -> AwayLine:
    late = row.wanted_on is not None and row.wanted_on < today
    worked_out: tuple[Any, ...] = (sent_on, (today - sent_on).days, late)
    return AwayLine(*row, *worked_out)


def open_trip(db: Connection, item_id: int) -> Trip | None:
    """The trip an item is on, if it is away."""
    return next(iter(lines(Trip, db.execute(_OPEN, {"item": item_id}))), None)


def awaited_trip(db: Connection, item_id: int) -> Trip | None:
    """The newest trip to a laboratory of which no certificate is on record yet."""
    return next(iter(lines(Trip, db.execute(_AWAITED, {"item": item_id}))), None)
