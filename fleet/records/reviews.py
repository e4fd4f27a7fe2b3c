"""Recalls, and impact reviews: what a failed calibration may have touched."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, text
from sqlalchemy.orm import Mapped, mapped_column

from fleet.records.base import Base, Key, one_of, table
from fleet.rules.evidence import Ruling


class RecallRow(Base):
    """Every item of a model, of a range of its serial numbers, or assembled in a period, is kept in."""

    __tablename__ = "recall"
    __table_args__ = table(
        CheckConstraint("assembled_from <= assembled_to", name="period_in_order"),
        CheckConstraint("(ended_at IS NULL) = (end_reason IS NULL)", name="ended_for_a_reason"),
        Index("ix_recall_model", "model_id"),
    )

    id: Mapped[Key]
    model_id: Mapped[int] = mapped_column(ForeignKey("model.id"))
    serial_from: Mapped[str | None]
    serial_to: Mapped[str | None]
    assembled_from: Mapped[date | None]
    assembled_to: Mapped[date | None]
    notice: Mapped[str]
    reason: Mapped[str]
    opened_at: Mapped[datetime]
    opened_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    ended_at: Mapped[datetime | None]
    ended_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    end_reason: Mapped[str | None]


class ImpactReviewRow(Base):
    """All that one item touched since it was last known to be good; open until every line is decided."""

    __tablename__ = "impact_review"
    __table_args__ = table(
        CheckConstraint("since_on IS NULL OR since_on <= until_on", name="period_in_order"),
        CheckConstraint("(closed_at IS NULL) = (summary IS NULL)", name="closed_with_a_summary"),
        Index(
            "ix_impact_review_open",
            "site_id",
            "due_on",
            sqlite_where=text("closed_at IS NULL"),
            postgresql_where=text("closed_at IS NULL"),
        ),
        Index("ix_impact_review_item", "item_id"),
    )

    id: Mapped[Key]
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    calibration_id: Mapped[int | None] = mapped_column(ForeignKey("calibration.id"), unique=True)
    cause: Mapped[str]
    # Empty when no good result is on record: then all its use is in question.
    since_on: Mapped[date | None]
    until_on: Mapped[date]
    opened_at: Mapped[datetime]
    opened_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    due_on: Mapped[date]
    closed_at: Mapped[datetime | None]
    closed_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    summary: Mapped[str | None]


class ImpactLineRow(Base):
    """One loan, job and joint that the item touched, the torque error it implies, and what was decided."""

    __tablename__ = "impact_line"
    __table_args__ = table(
        one_of("ruling", Ruling),
        CheckConstraint("(ruling IS NULL) = (decided_at IS NULL)", name="decided_once"),
        CheckConstraint("(ruling IS NULL) = (reason IS NULL)", name="decided_for_a_reason"),
        Index("ix_impact_line_review", "review_id"),
    )

    id: Mapped[Key]
    review_id: Mapped[int] = mapped_column(ForeignKey("impact_review.id"))
    loan_line_id: Mapped[int | None] = mapped_column(ForeignKey("loan_line.id"))
    job_id: Mapped[int | None] = mapped_column(ForeignKey("job.id"))
    joint_id: Mapped[int | None] = mapped_column(ForeignKey("joint.id"))
    first_on: Mapped[date]
    last_on: Mapped[date]
    cycles: Mapped[int]
    pressure_mpa: Mapped[float | None]
    error_percent: Mapped[float | None]
    ruling: Mapped[str | None]
    decided_at: Mapped[datetime | None]
    decided_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    decided_by_name: Mapped[str | None]
    reason: Mapped[str | None]
