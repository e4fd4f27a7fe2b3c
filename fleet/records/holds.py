"""Holds (quarantine) and concessions."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, text
from sqlalchemy.orm import Mapped, mapped_column

from fleet.records.base import Base, Key, one_of, table
from fleet.rules.conditions import ConcessionReason, HoldCause


class HoldRow(Base):
    """Keeps one item in, from opening until somebody releases it with evidence."""

    __tablename__ = "hold"
    __table_args__ = table(
        one_of("cause", HoldCause),
        CheckConstraint("(released_at IS NULL) = (evidence IS NULL)", name="released_with_evidence"),
        Index("ix_hold_item", "item_id"),
        Index(
            "ix_hold_open",
            "item_id",
            sqlite_where=text("released_at IS NULL"),
            postgresql_where=text("released_at IS NULL"),
        ),
    )

    id: Mapped[Key]
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    cause: Mapped[str]
    reason: Mapped[str]
    opened_at: Mapped[datetime]
    opened_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    released_at: Mapped[datetime | None]
    released_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    evidence: Mapped[str | None]
    recall_id: Mapped[int | None] = mapped_column(ForeignKey("recall.id"))
    # What was done after the hold was opened, and shows that the item is sound again.
    inspection_id: Mapped[int | None] = mapped_column(ForeignKey("inspection.id"))
    repair_id: Mapped[int | None] = mapped_column(ForeignKey("repair.id"))
    proof_test_id: Mapped[int | None] = mapped_column(ForeignKey("proof_test.id"))
    calibration_id: Mapped[int | None] = mapped_column(ForeignKey("calibration.id"))


class ConcessionRow(Base):
    """Lets one overdue item out for one job for at most a day: two people, a coded reason and a sentence."""

    __tablename__ = "concession"
    __table_args__ = table(
        one_of("reason_code", ConcessionReason),
        CheckConstraint("asked_by_id <> granted_by_id", name="granted_by_another_person"),
        CheckConstraint("length(reason) >= 15", name="reason_is_a_sentence"),
        CheckConstraint("starts_at < ends_at", name="starts_before_it_ends"),
        Index("ix_concession_item_ends_at", "item_id", "ends_at"),
    )

    id: Mapped[Key]
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    task_id: Mapped[int] = mapped_column(ForeignKey("upkeep_task.id"))
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"))
    asked_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    granted_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    reason_code: Mapped[str]
    reason: Mapped[str]
    starts_at: Mapped[datetime]
    ends_at: Mapped[datetime]
