"""Upkeep tasks, what was done, and the due lines kept up to date on every write."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, text
from sqlalchemy.orm import Mapped, mapped_column

from fleet.bolting.parts import Kind
from fleet.records.base import Base, Key, one_of, table
from fleet.rules.evidence import Proof
from fleet.rules.upkeep import CountsFrom, Stop


class TaskRow(Base):
    """What must be done again, for all items of a kind or of one model (which then replaces the kind's)."""

    __tablename__ = "upkeep_task"
    __table_args__ = table(
        one_of("kind", Kind),
        one_of("counts_from", CountsFrom),
        one_of("stop", Stop),
        one_of("proved_by", Proof),
        CheckConstraint("every_months > 0", name="every_months_positive"),
        CheckConstraint("every_cycles > 0", name="every_cycles_positive"),
        CheckConstraint("every_minutes > 0", name="every_minutes_positive"),
        CheckConstraint(
            "coalesce(every_months, every_cycles, every_minutes) IS NOT NULL", name="has_a_clock"
        ),
        CheckConstraint("lead_days >= 0", name="lead_days_not_negative"),
        Index(
            "uq_upkeep_task_kind",
            "name",
            "kind",
            unique=True,
            sqlite_where=text("model_id IS NULL"),
            postgresql_where=text("model_id IS NULL"),
        ),
        Index(
            "uq_upkeep_task_model",
            "name",
            "model_id",
            unique=True,
            sqlite_where=text("model_id IS NOT NULL"),
            postgresql_where=text("model_id IS NOT NULL"),
        ),
    )

    id: Mapped[Key]
    name: Mapped[str]
    kind: Mapped[str]
    model_id: Mapped[int | None] = mapped_column(ForeignKey("model.id"))
    every_months: Mapped[int | None]
    every_cycles: Mapped[int | None]
    every_minutes: Mapped[int | None]
    counts_from: Mapped[str]
    lead_days: Mapped[int]
    stop: Mapped[str]
    proved_by: Mapped[str] = mapped_column(server_default=Proof.NOTE.value)


class UpkeepRow(Base):
    """One task done on one item. Append-only; a mistaken entry is withdrawn by another that names it."""

    __tablename__ = "upkeep_done"
    __table_args__ = table(
        CheckConstraint("withdraws_id IS NULL OR reason IS NOT NULL", name="withdrawn_for_a_reason"),
        Index("ix_upkeep_done_item_task", "item_id", "task_id", "done_on"),
        Index(
            "uq_upkeep_done_withdraws_id",
            "withdraws_id",
            unique=True,
            sqlite_where=text("withdraws_id IS NOT NULL"),
            postgresql_where=text("withdraws_id IS NOT NULL"),
        ),
    )

    id: Mapped[Key]
    client_id: Mapped[str] = mapped_column(unique=True)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    task_id: Mapped[int] = mapped_column(ForeignKey("upkeep_task.id"))
    done_on: Mapped[date]
    cycles_at: Mapped[int]
    minutes_at: Mapped[int]
    by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    note: Mapped[str | None]
    recorded_at: Mapped[datetime]
    inspection_id: Mapped[int | None] = mapped_column(ForeignKey("inspection.id"))
    proof_test_id: Mapped[int | None] = mapped_column(ForeignKey("proof_test.id"))
    calibration_id: Mapped[int | None] = mapped_column(ForeignKey("calibration.id"))
    withdraws_id: Mapped[int | None] = mapped_column(ForeignKey("upkeep_done.id"))
    reason: Mapped[str | None]


class DueLineRow(Base):
    """When one task of one item comes due, by each of its clocks. A projection: it can be worked out afresh.

    ``use_left`` is the smallest share left of its meter clocks (0 or less: due by use), ``forecast_on`` the
    day on which a meter runs out at the pace of the last ``recent_days``, or ran out, and ``first_on`` the
    earlier of that and ``due_on``.
    """

    __tablename__ = "due_line"
    # One seek answers a due list: a meter that ran out has the day on which it did.
    __table_args__ = table(Index("ix_due_line_site_first_on", "site_id", "first_on"))

    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"), primary_key=True)
    task_id: Mapped[int] = mapped_column(ForeignKey("upkeep_task.id"), primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    last_done_on: Mapped[date | None]
    due_on: Mapped[date | None]
    due_cycles: Mapped[int | None]
    due_minutes: Mapped[int | None]
    use_left: Mapped[float | None]
    forecast_on: Mapped[date | None]
    first_on: Mapped[date | None]
    recent_cycles: Mapped[int]
    recent_minutes: Mapped[int]
    recent_days: Mapped[int]
