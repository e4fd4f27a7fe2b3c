"""Jobs, their joints, and reservations of items for a window."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.dialects.postgresql import ExcludeConstraint
from sqlalchemy.orm import Mapped, mapped_column

from fleet.records.base import Base, Key, table


class JobRow(Base):
    """A piece of work at a site in a window [starts_at, ends_at)."""

    __tablename__ = "job"
    __table_args__ = table(CheckConstraint("starts_at < ends_at", name="starts_before_it_ends"))

    id: Mapped[Key]
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"), index=True)
    code: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    starts_at: Mapped[datetime]
    ends_at: Mapped[datetime]
    crews: Mapped[int | None]


class JointTemplateRow(Base):
    """What a kind of joint asks for, written once and copied into the joints of a job."""

    __tablename__ = "joint_template"
    __table_args__ = table(
        CheckConstraint("bolts >= 1", name="has_bolts"),
        CheckConstraint("torque_nm > 0", name="torque_positive"),
        CheckConstraint(
            "(loosening_factor IS NULL) = (loosening_reason IS NULL)", name="loosening_factor_has_a_reason"
        ),
        CheckConstraint("loosening_factor > 0", name="loosening_factor_positive"),
        CheckConstraint("turn_degrees > 0", name="turn_degrees_positive"),
        CheckConstraint("duration_minutes > 0", name="duration_minutes_positive"),
        CheckConstraint("wrenches_at_once >= 1", name="wrenches_at_once_positive"),
    )

    id: Mapped[Key]
    name: Mapped[str] = mapped_column(unique=True)
    bolts: Mapped[int]
    thread: Mapped[str | None]
    nut_series: Mapped[str | None]
    across_flats_written: Mapped[str | None]
    across_flats_mm: Mapped[float | None]
    torque_written: Mapped[str]
    torque_nm: Mapped[float]
    tolerance_percent: Mapped[float | None]
    loosening_factor: Mapped[float | None]
    loosening_reason: Mapped[str | None]
    turn_degrees: Mapped[float | None]
    duration_minutes: Mapped[int | None]
    wrenches_at_once: Mapped[int | None]
    head: Mapped[str | None]
    drive_written: Mapped[str | None]
    drive_mm: Mapped[float | None]
    widest_written: Mapped[str | None]
    widest_mm: Mapped[float | None]
    highest_written: Mapped[str | None]
    highest_mm: Mapped[float | None]
    heaviest_written: Mapped[str | None]
    heaviest_kg: Mapped[float | None]


class JointRow(Base):
    """A bolted joint that the job tightens or loosens."""

    __tablename__ = "joint"
    __table_args__ = table(
        UniqueConstraint("job_id", "mark"),
        CheckConstraint("bolts >= 1", name="has_bolts"),
        CheckConstraint("torque_nm > 0", name="torque_positive"),
        CheckConstraint("loosening_factor > 0", name="loosening_factor_positive"),
        CheckConstraint("planned_cycles >= 0", name="planned_cycles_not_negative"),
        CheckConstraint("planned_minutes >= 0", name="planned_minutes_not_negative"),
        CheckConstraint("turn_degrees > 0", name="turn_degrees_positive"),
        CheckConstraint("duration_minutes > 0", name="duration_minutes_positive"),
        CheckConstraint("wrenches_at_once >= 1", name="wrenches_at_once_positive"),
        CheckConstraint("drive_mm > 0", name="drive_positive"),
        CheckConstraint("widest_mm > 0", name="widest_positive"),
        CheckConstraint("highest_mm > 0", name="highest_positive"),
        CheckConstraint("heaviest_kg > 0", name="heaviest_positive"),
        CheckConstraint(
            "(loosening_factor IS NULL) = (loosening_reason IS NULL)", name="loosening_factor_has_a_reason"
        ),
    )

    id: Mapped[Key]
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"))
    mark: Mapped[str]
    bolts: Mapped[int]
    thread: Mapped[str | None]
    nut_series: Mapped[str | None]
    across_flats_written: Mapped[str | None]
    across_flats_mm: Mapped[float | None]
    torque_written: Mapped[str]
    torque_nm: Mapped[float]
    tolerance_percent: Mapped[float | None]
    loosening_factor: Mapped[float | None]
    loosening_reason: Mapped[str | None]
    planned_cycles: Mapped[int | None]
    planned_minutes: Mapped[int | None]
    # How far one nut is turned: what the strokes of the job are worked out from.
    turn_degrees: Mapped[float | None]
    # The work itself, when shorter than the job's window: the plan may then choose when it begins.
    duration_minutes: Mapped[int | None]
    wrenches_at_once: Mapped[int | None]
    # Which wrenches can get at it; empty means any.
    head: Mapped[str | None]
    drive_written: Mapped[str | None]
    drive_mm: Mapped[float | None]
    widest_written: Mapped[str | None]
    widest_mm: Mapped[float | None]
    highest_written: Mapped[str | None]
    highest_mm: Mapped[float | None]
    heaviest_written: Mapped[str | None]
    heaviest_kg: Mapped[float | None]


class BreakoutRow(Base):
    """The torque at which a nut of a joint was measured to break loose. Append-only.

    Kept per joint; the same mark at the same site is the same joint in a later job.
    """

    __tablename__ = "breakout"
    __table_args__ = table(
        CheckConstraint("torque_nm > 0", name="torque_positive"),
        CheckConstraint("withdraws_id IS NULL OR reason IS NOT NULL", name="withdrawn_for_a_reason"),
        Index("ix_breakout_joint", "joint_id"),
    )

    id: Mapped[Key]
    client_id: Mapped[str] = mapped_column(unique=True)
    joint_id: Mapped[int] = mapped_column(ForeignKey("joint.id"))
    item_id: Mapped[int | None] = mapped_column(ForeignKey("item.id"))
    pressure_written: Mapped[str | None]
    pressure_mpa: Mapped[float | None]
    torque_written: Mapped[str]
    torque_nm: Mapped[float]
    measured_on: Mapped[date]
    note: Mapped[str | None]
    by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    recorded_at: Mapped[datetime]
    withdraws_id: Mapped[int | None] = mapped_column(ForeignKey("breakout.id"), unique=True)
    reason: Mapped[str | None]


class ReservationRow(Base):
    """One item kept for one job in a window [starts_at, ends_at); live while ``ended_at`` is empty.

    No two live windows of an item overlap: an exclusion constraint on PostgreSQL, triggers on SQLite.
    """

    __tablename__ = "reservation"
    __table_args__ = table(
        CheckConstraint("starts_at < ends_at", name="starts_before_it_ends"),
        Index("ix_reservation_item_starts_at", "item_id", "starts_at"),
        Index("ix_reservation_job", "job_id"),
        ExcludeConstraint(
            ("item_id", "="),
            (text("tstzrange(starts_at, ends_at, '[)')"), "&&"),
            name="ex_reservation_no_overlap",
            where=text("ended_at IS NULL"),
            using="gist",
        ).ddl_if(dialect="postgresql"),
    )

    id: Mapped[Key]
    client_id: Mapped[str] = mapped_column(unique=True)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"))
    joint_id: Mapped[int | None] = mapped_column(ForeignKey("joint.id"))
    starts_at: Mapped[datetime]
    ends_at: Mapped[datetime]
    reserved_at: Mapped[datetime]
    reserved_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    ended_at: Mapped[datetime | None]
    ended_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    end_reason: Mapped[str | None]
    # For what any item of a class will do: the class in words, so that another may take this one's place.
    any_of: Mapped[str | None]
    # Not fetched by then, it is given up, with notice.
    expires_at: Mapped[datetime | None]
    replaces_id: Mapped[int | None] = mapped_column(ForeignKey("reservation.id"))
    plan_id: Mapped[int | None] = mapped_column(ForeignKey("plan.id"))


class PlanRow(Base):
    """A proposed plan of a period, kept as it was made; nothing is reserved until a person accepts it."""

    __tablename__ = "plan"
    __table_args__ = table(
        CheckConstraint("starts_at < ends_at", name="starts_before_it_ends"),
        CheckConstraint("accepted_at IS NULL OR dropped_at IS NULL", name="accepted_or_dropped"),
    )

    id: Mapped[Key]
    client_id: Mapped[str] = mapped_column(unique=True)
    sites: Mapped[str]
    starts_at: Mapped[datetime]
    ends_at: Mapped[datetime]
    made_at: Mapped[datetime]
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    body: Mapped[str]
    accepted_at: Mapped[datetime | None]
    accepted_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    dropped_at: Mapped[datetime | None]
    drop_reason: Mapped[str | None]
