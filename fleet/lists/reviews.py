"""Impact reviews: which are open, what each is about, and what was decided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, select

from fleet.lists.rows import lines
from fleet.records import (
    ImpactLineRow,
    ImpactReviewRow,
    ItemRow,
    JobRow,
    JointRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    PersonRow,
    SiteRow,
)
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine


@dataclass(frozen=True, slots=True)
class ReviewLine:
    """One review, how many joints it is about, and how many of them nobody has decided yet.

    ``since_on`` is empty when no good result is on record: then all its use is in question.
    """

    id: int
    tag: str
    kind: str
    model: str
    serial: str
    site: str
    cause: str
    certificate: int | None
    since_on: date | None
    until_on: date
    due_on: date
    lines: int
    undecided: int
    opened_at: datetime
    closed_at: datetime | None
    closed_by: str | None
    summary: str | None

    def overdue(self, today: date) -> bool:
        """Still open after the day by which it was to be decided."""
        return self.closed_at is None and self.due_on < today


@dataclass(frozen=True, slots=True)
class TouchedLine:
    """One touched joint of a review, numbered from 1; pressure in MPa, torque in N·m, error in percent.

    ``ruling`` is empty while nobody has decided.
    """

    id: int
    number: int
    loan: int | None
    borrower: str | None
    job: str | None
    joint: str | None
    target_torque_nm: float | None
    tolerance_percent: float | None
    first_on: date
    last_on: date
    cycles: int
    pressure_mpa: float | None
    error_percent: float | None
    ruling: str | None
    reason: str | None
    decided_at: datetime | None
    decided_by: str | None

    @property
    def out_of_tolerance(self) -> bool | None:
        """Whether the torque error alone is more than the joint allows; None when either is unknown."""
        if self.error_percent is None or self.tolerance_percent is None:
            return None
        return abs(self.error_percent) > self.tolerance_percent


_OF_REVIEW = select(func.count()).where(ImpactLineRow.review_id == ImpactReviewRow.id)
_REVIEWS = (
    select(
        ImpactReviewRow.id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.serial,
        SiteRow.code,
        ImpactReviewRow.cause,
        ImpactReviewRow.calibration_id,
        ImpactReviewRow.since_on,
        ImpactReviewRow.until_on,
        ImpactReviewRow.due_on,
        _OF_REVIEW.scalar_subquery(),
        _OF_REVIEW.where(ImpactLineRow.ruling.is_(None)).scalar_subquery(),
        ImpactReviewRow.opened_at,
        ImpactReviewRow.closed_at,
        PersonRow.name,
        ImpactReviewRow.summary,
    )
    .join(ItemRow, ItemRow.id == ImpactReviewRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ImpactReviewRow.site_id)
    .outerjoin(PersonRow, PersonRow.id == ImpactReviewRow.closed_by_id)
    # The first to be due comes first, so that what is overdue stands on top.
    .order_by(ImpactReviewRow.due_on, ImpactReviewRow.id)
)
_OPEN = _REVIEWS.where(ImpactReviewRow.site_id == bindparam("site"), ImpactReviewRow.closed_at.is_(None))
_ALL = _REVIEWS.where(ImpactReviewRow.site_id == bindparam("site"))
_ONE = _REVIEWS.where(ImpactReviewRow.id == bindparam("review"))
_LINES = (
    select(
        ImpactLineRow.id,
        func.row_number().over(order_by=ImpactLineRow.id),
        LoanRow.id,
        PersonRow.name,
        JobRow.code,
        JointRow.mark,
        JointRow.torque_nm,
        JointRow.tolerance_percent,
        ImpactLineRow.first_on,
        ImpactLineRow.last_on,
        ImpactLineRow.cycles,
        ImpactLineRow.pressure_mpa,
        ImpactLineRow.error_percent,
        ImpactLineRow.ruling,
        ImpactLineRow.reason,
        ImpactLineRow.decided_at,
        ImpactLineRow.decided_by_name,
    )
    .outerjoin(LoanLineRow, LoanLineRow.id == ImpactLineRow.loan_line_id)
    .outerjoin(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .outerjoin(PersonRow, PersonRow.id == LoanRow.borrower_id)
    .outerjoin(JobRow, JobRow.id == ImpactLineRow.job_id)
    .outerjoin(JointRow, JointRow.id == ImpactLineRow.joint_id)
    .where(ImpactLineRow.review_id == bindparam("review"))
    .order_by(ImpactLineRow.id)
)


def reviews(db: Connection, site: SiteLine, *, closed: bool = False) -> list[ReviewLine]:
    """Open reviews of the site, and with ``closed`` the others too; the first to be due comes first."""
    return lines(ReviewLine, db.execute(_ALL if closed else _OPEN, {"site": site.id}))


def find_review(db: Connection, review: int) -> tuple[ReviewLine, list[TouchedLine]]:
    """One review by its number, with its lines in the order in which they were written."""
    row = db.execute(_ONE, {"review": review}).first()
    if row is None:
        raise NotFound(f"There is no impact review {review}. See them with: fleet review list")
    return lines(ReviewLine, [row])[0], lines(TouchedLine, db.execute(_LINES, {"review": review}))
