"""What waits at a site, by who sees to it: how many of each, and since when. One statement per role."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from sqlalchemy import (
    BigInteger,
    and_,
    bindparam,
    cast,
    exists,
    func,
    literal,
    null,
    or_,
    select,
    type_coerce,
    union_all,
)

from fleet.bolting.parts import Kind
from fleet.lists.reservations import FETCHED
from fleet.measures.times import local_day, start_of_day, zone
from fleet.records import (
    AwayRow,
    CalibrationRow,
    ConcessionRow,
    DueLineRow,
    HoldRow,
    ImpactLineRow,
    ImpactReviewRow,
    IntervalProposalRow,
    ItemRow,
    JobRow,
    JointRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    ReservationRow,
)
from fleet.rules.calibrations import Result
from fleet.rules.evidence import Errand, Standing
from fleet.rules.register import Role

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy import Select
    from sqlalchemy.engine import Connection
    from sqlalchemy.orm import InstrumentedAttribute

    from fleet.lists.sites import SiteLine

# How far the keeper looks ahead, and the planner.
DUE_WITHIN = timedelta(days=7)
JOINTS_WITHIN = timedelta(weeks=4)


@dataclass(frozen=True, slots=True)
class Waits:
    """One matter at one site: how many things wait, and since when the oldest does."""

    matter: str
    count: int
    since: date | None


_SITE = bindparam("site", type_=BigInteger())
_DAY, _INSTANT = DueLineRow.first_on.type, LoanRow.issued_at.type
_TODAY, _NOW = bindparam("today", type_=_DAY), bindparam("now", type_=_INSTANT)
_OUT = and_(LoanLineRow.item_id == ItemRow.id, LoanLineRow.returned_at.is_(None))
_OVERDUE = or_(DueLineRow.due_on < _TODAY, and_(DueLineRow.use_left <= 0, DueLineRow.forecast_on <= _TODAY))


def _counted(
    matter: str,
    *,
    what: InstrumentedAttribute[int],
    day: InstrumentedAttribute[Any] | None = None,
    at: InstrumentedAttribute[Any] | None = None,
) -> Select[*tuple[Any, ...]]:
    """How many of what, and the first day or instant of them; each statement of a union has both."""
    return select(
        literal(matter).label("matter"),
        func.count(what.distinct()).label("number"),
        type_coerce(func.min(day) if day is not None else cast(null(), _DAY), _DAY).label("day"),
        type_coerce(func.min(at) if at is not None else cast(null(), _INSTANT), _INSTANT).label("at"),
    )


_CERTIFICATES = and_(
    CalibrationRow.standing == Standing.RECEIVED,
    CalibrationRow.item_id == ItemRow.id,
    ItemRow.site_id == _SITE,
)
_OF_OFFICER = union_all(
    _counted("overdue out", what=DueLineRow.item_id, day=DueLineRow.first_on)
    .select_from(DueLineRow)
    .join(LoanLineRow, and_(LoanLineRow.item_id == DueLineRow.item_id, LoanLineRow.returned_at.is_(None)))
    .where(DueLineRow.site_id == _SITE, DueLineRow.first_on <= _TODAY, _OVERDUE),
    _counted("reviews", what=ImpactReviewRow.id, at=ImpactReviewRow.opened_at).where(
        ImpactReviewRow.site_id == _SITE, ImpactReviewRow.closed_at.is_(None)
    ),
    _counted("joints to decide", what=ImpactLineRow.id, at=ImpactReviewRow.opened_at)
    .join(ImpactReviewRow, ImpactReviewRow.id == ImpactLineRow.review_id)
    .where(
        ImpactReviewRow.site_id == _SITE, ImpactReviewRow.closed_at.is_(None), ImpactLineRow.ruling.is_(None)
    ),
    _counted("held out", what=HoldRow.item_id, at=HoldRow.opened_at)
    .join(ItemRow, ItemRow.id == HoldRow.item_id)
    .join(LoanLineRow, _OUT)
    .where(HoldRow.released_at.is_(None), ItemRow.site_id == _SITE),
    _counted("concessions", what=ConcessionRow.id, at=ConcessionRow.starts_at)
    .join(ItemRow, ItemRow.id == ConcessionRow.item_id)
    .where(ItemRow.site_id == _SITE, ConcessionRow.ends_at > _NOW),
    _counted("certificates", what=CalibrationRow.id, at=CalibrationRow.received_at)
    .join(ItemRow, ItemRow.id == CalibrationRow.item_id)
    .where(_CERTIFICATES),
    _counted("failed", what=CalibrationRow.id, at=CalibrationRow.received_at)
    .join(ItemRow, ItemRow.id == CalibrationRow.item_id)
    .where(_CERTIFICATES, CalibrationRow.as_found == Result.FAIL),
    # A proposal for a whole kind or model is for the officers of every site.
    _counted("proposals", what=IntervalProposalRow.id, at=IntervalProposalRow.made_at)
    .outerjoin(ItemRow, ItemRow.id == IntervalProposalRow.item_id)
    .where(
        IntervalProposalRow.choice.is_(None),
        or_(IntervalProposalRow.item_id.is_(None), ItemRow.site_id == _SITE),
    ),
)
# A later trip will bring its own certificate.
_LAST_TRIP = (
    select(func.max(AwayRow.id).label("away_id"))
    .join(ItemRow, ItemRow.id == AwayRow.item_id)
    .where(ItemRow.site_id == _SITE, ItemRow.retired_on.is_(None))
    .group_by(AwayRow.item_id)
    .subquery()
)
_OF_KEEPER = union_all(
    _counted("overdue in", what=DueLineRow.item_id, day=DueLineRow.first_on)
    .select_from(DueLineRow)
    .outerjoin(
        LoanLineRow, and_(LoanLineRow.item_id == DueLineRow.item_id, LoanLineRow.returned_at.is_(None))
    )
    .where(
        DueLineRow.site_id == _SITE,
        DueLineRow.first_on <= _TODAY,
        _OVERDUE,
        LoanLineRow.id.is_(None),
    ),
    _counted("due", what=DueLineRow.item_id, day=DueLineRow.first_on).where(
        DueLineRow.site_id == _SITE,
        DueLineRow.first_on >= _TODAY,
        DueLineRow.first_on <= bindparam("within", type_=_DAY),
    ),
    _counted("late", what=LoanLineRow.id, day=LoanRow.back_on)
    .select_from(LoanLineRow)
    .join(ItemRow, ItemRow.id == LoanLineRow.item_id)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .where(LoanLineRow.returned_at.is_(None), ItemRow.site_id == _SITE, LoanRow.back_on < _TODAY),
    _counted("away late", what=AwayRow.id, day=AwayRow.wanted_on)
    .join(ItemRow, ItemRow.id == AwayRow.item_id)
    .where(AwayRow.back_at.is_(None), ItemRow.site_id == _SITE, AwayRow.wanted_on < _TODAY),
    _counted("to take in", what=AwayRow.id, at=AwayRow.back_at)
    .select_from(_LAST_TRIP)
    .join(AwayRow, AwayRow.id == _LAST_TRIP.c.away_id)
    .where(
        AwayRow.errand == Errand.CALIBRATION,
        AwayRow.back_at.is_not(None),
        # By the item as well: certificates are found by that, and trips by nothing.
        ~exists().where(CalibrationRow.item_id == AwayRow.item_id, CalibrationRow.away_id == AwayRow.id),
    ),
    _counted("kits", what=ReservationRow.job_id, at=ReservationRow.starts_at)
    .select_from(JobRow)
    .join(ReservationRow, ReservationRow.job_id == JobRow.id)
    .join(ItemRow, ItemRow.id == ReservationRow.item_id)
    .where(
        JobRow.ends_at > _NOW,
        ItemRow.site_id == _SITE,
        ReservationRow.ended_at.is_(None),
        ReservationRow.ends_at > _NOW,
        ReservationRow.starts_at < bindparam("tomorrow_ends", type_=_INSTANT),
        ~FETCHED,
    ),
)
_SERVES = and_(
    ReservationRow.job_id == JobRow.id,
    ReservationRow.ended_at.is_(None),
    or_(ReservationRow.joint_id.is_(None), ReservationRow.joint_id == JointRow.id),
)
_WRENCH = and_(ItemRow.model_id == ModelRow.id, ModelRow.kind == Kind.WRENCH)
_OF_PLANNER = (
    _counted("unserved", what=JointRow.id, at=JobRow.starts_at)
    .join(JobRow, JobRow.id == JointRow.job_id)
    .where(
        JobRow.site_id == _SITE,
        JobRow.ends_at > _NOW,
        JobRow.starts_at < bindparam("joints_until", type_=_INSTANT),
        ~exists().where(_SERVES, ItemRow.id == ReservationRow.item_id, _WRENCH),
        ~exists().where(
            LoanRow.job_id == JobRow.id,
            LoanLineRow.loan_id == LoanRow.id,
            ItemRow.id == LoanLineRow.item_id,
            _WRENCH,
        ),
    )
)
_ASKED: dict[str, Any] = {Role.SAFETY: _OF_OFFICER, Role.KEEPER: _OF_KEEPER, Role.PLANNER: _OF_PLANNER}


def waits(db: Connection, site: SiteLine, role: Role, now: datetime) -> dict[str, Waits]:
    """What waits for whoever has this role at the site, by matter; those of which nothing waits too."""
    there, today = zone(site.time_zone), site.today(now)
    asked = {
        "site": site.id,
        "today": today,
        "now": now,
        "within": today + DUE_WITHIN,
        "tomorrow_ends": start_of_day(today + timedelta(days=2), there),
        "joints_until": now + JOINTS_WITHIN,
    }
    return {
        row.matter: Waits(row.matter, row.number, row.day or (local_day(row.at, there) if row.at else None))
        for row in db.execute(_ASKED[role], asked)
    }
