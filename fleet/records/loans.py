"""Loans, their lines, and the usage ledger."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, text
from sqlalchemy.orm import Mapped, mapped_column

from fleet.records.base import Base, Key, one_of, table
from fleet.rules.conditions import Condition


class LoanRow(Base):
    """Items handed to one person for one job."""

    __tablename__ = "loan"
    __table_args__ = table()

    id: Mapped[Key]
    client_id: Mapped[str] = mapped_column(unique=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"), index=True)
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    borrower_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    issued_at: Mapped[datetime]
    issued_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    back_on: Mapped[date]


class LoanLineRow(Base):
    """One item of a loan; out while ``returned_at`` is empty, and out only once."""

    __tablename__ = "loan_line"
    __table_args__ = table(
        one_of("condition", Condition),
        CheckConstraint("(returned_at IS NULL) = (condition IS NULL)", name="returned_in_some_condition"),
        Index("ix_loan_line_item", "item_id", "id"),
        Index("ix_loan_line_loan", "loan_id"),
        Index(
            "uq_loan_line_out",
            "item_id",
            unique=True,
            sqlite_where=text("returned_at IS NULL"),
            postgresql_where=text("returned_at IS NULL"),
        ),
    )

    id: Mapped[Key]
    loan_id: Mapped[int] = mapped_column(ForeignKey("loan.id"))
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    planned_cycles: Mapped[int | None]
    planned_minutes: Mapped[int | None]
    returned_at: Mapped[datetime | None]
    returned_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    condition: Mapped[str | None]
    note: Mapped[str | None]


class UsageRow(Base):
    """One entry of use. Append-only: a mistake is reversed by a second entry that names the first."""

    __tablename__ = "usage"
    __table_args__ = table(
        CheckConstraint("reverses_id IS NOT NULL OR (cycles >= 0 AND minutes >= 0)", name="use_not_negative"),
        CheckConstraint("reverses_id IS NULL OR reason IS NOT NULL", name="reversed_for_a_reason"),
        Index("ix_usage_item_used_on", "item_id", "used_on"),
        Index("ix_usage_loan_line", "loan_line_id"),
    )

    id: Mapped[Key]
    client_id: Mapped[str] = mapped_column(unique=True)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    loan_line_id: Mapped[int | None] = mapped_column(ForeignKey("loan_line.id"))
    job_id: Mapped[int | None] = mapped_column(ForeignKey("job.id"))
    cycles: Mapped[int]
    minutes: Mapped[int]
    used_on: Mapped[date]
    joint_id: Mapped[int | None] = mapped_column(ForeignKey("joint.id"))
    reverses_id: Mapped[int | None] = mapped_column(ForeignKey("usage.id"), unique=True)
    reason: Mapped[str | None]
    by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    recorded_at: Mapped[datetime]
