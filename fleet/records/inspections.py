"""Checklists, inspections and their answers, proof tests, repairs, and who is competent for what."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from fleet.bolting.parts import Kind
from fleet.records.base import Base, Key, one_of, table
from fleet.rules.evidence import Answer, Occasion, Work


class ChecklistRow(Base):
    """A room's own checklist for a kind. Version 0 is the program's own and stands in no table."""

    __tablename__ = "checklist"
    __table_args__ = table(
        one_of("kind", Kind),
        CheckConstraint("version > 0", name="version_positive"),
        UniqueConstraint("kind", "version"),
    )

    id: Mapped[Key]
    kind: Mapped[str]
    version: Mapped[int]
    source: Mapped[str]
    entered_at: Mapped[datetime]
    entered_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))


class CheckpointRow(Base):
    """One thing to look at, in its place on a checklist. Append-only."""

    __tablename__ = "checkpoint"
    __table_args__ = table(UniqueConstraint("checklist_id", "position"))

    id: Mapped[Key]
    checklist_id: Mapped[int] = mapped_column(ForeignKey("checklist.id"))
    position: Mapped[int]
    wording: Mapped[str]


class InspectionRow(Base):
    """One inspection of one item. Append-only; a mistaken one is withdrawn by another that names it."""

    __tablename__ = "inspection"
    __table_args__ = table(
        one_of("occasion", Occasion),
        one_of("result", Answer),
        CheckConstraint("withdraws_id IS NULL OR reason IS NOT NULL", name="withdrawn_for_a_reason"),
        Index("ix_inspection_item", "item_id", "inspected_on"),
    )

    id: Mapped[Key]
    client_id: Mapped[str] = mapped_column(unique=True)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    occasion: Mapped[str]
    task_id: Mapped[int | None] = mapped_column(ForeignKey("upkeep_task.id"))
    checklist_version: Mapped[int]
    inspected_on: Mapped[date]
    result: Mapped[str]
    note: Mapped[str | None]
    cycles_at: Mapped[int]
    minutes_at: Mapped[int]
    by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    # The name as it was then: it is part of the record.
    by_name: Mapped[str]
    recorded_at: Mapped[datetime]
    withdraws_id: Mapped[int | None] = mapped_column(ForeignKey("inspection.id"), unique=True)
    reason: Mapped[str | None]


class InspectionAnswerRow(Base):
    """What was seen at one checkpoint, with its wording as it was asked. Append-only."""

    __tablename__ = "inspection_answer"
    __table_args__ = table(one_of("answer", Answer), UniqueConstraint("inspection_id", "position"))

    id: Mapped[Key]
    inspection_id: Mapped[int] = mapped_column(ForeignKey("inspection.id"))
    position: Mapped[int]
    wording: Mapped[str]
    answer: Mapped[str]
    remark: Mapped[str | None]


class ProofTestRow(Base):
    """One pressure test of one item (twice its working pressure, held). Append-only."""

    __tablename__ = "proof_test"
    __table_args__ = table(
        CheckConstraint("pressure_mpa > 0", name="pressure_positive"),
        CheckConstraint("held_seconds >= 0", name="held_not_negative"),
        Index("ix_proof_test_item", "item_id", "tested_on"),
    )

    id: Mapped[Key]
    client_id: Mapped[str] = mapped_column(unique=True)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    task_id: Mapped[int | None] = mapped_column(ForeignKey("upkeep_task.id"))
    tested_on: Mapped[date]
    pressure_written: Mapped[str]
    pressure_mpa: Mapped[float]
    required_mpa: Mapped[float]
    held_seconds: Mapped[int]
    tight: Mapped[bool]
    passed: Mapped[bool]
    gauge_id: Mapped[int | None] = mapped_column(ForeignKey("item.id"))
    note: Mapped[str | None]
    by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    by_name: Mapped[str]
    recorded_at: Mapped[datetime]


class RepairRow(Base):
    """What was changed on an item. Append-only."""

    __tablename__ = "repair"
    __table_args__ = table(one_of("work", Work), Index("ix_repair_item", "item_id", "done_on"))

    id: Mapped[Key]
    client_id: Mapped[str] = mapped_column(unique=True)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    work: Mapped[str]
    description: Mapped[str]
    done_on: Mapped[date]
    cycles_at: Mapped[int]
    minutes_at: Mapped[int]
    by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    by_name: Mapped[str]
    recorded_at: Mapped[datetime]


class TaskAfterRepairRow(Base):
    """Which repair makes which task due again at once."""

    __tablename__ = "task_after_repair"
    __table_args__ = table(one_of("work", Work))

    task_id: Mapped[int] = mapped_column(ForeignKey("upkeep_task.id"), primary_key=True)
    work: Mapped[str] = mapped_column(primary_key=True)


class CompetenceRow(Base):
    """Who may do a task on a kind, until when, and on what evidence. Ended by a later one or by a person."""

    __tablename__ = "competence"
    __table_args__ = table(
        one_of("kind", Kind),
        CheckConstraint("(ended_at IS NULL) = (end_reason IS NULL)", name="ended_for_a_reason"),
        Index(
            "uq_competence_current",
            "person_id",
            "kind",
            "task",
            unique=True,
            sqlite_where=text("ended_at IS NULL"),
            postgresql_where=text("ended_at IS NULL"),
        ),
    )

    id: Mapped[Key]
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    kind: Mapped[str]
    # The name of an upkeep task, or "inspection before use": it holds for every task so named.
    task: Mapped[str]
    expires_on: Mapped[date]
    evidence: Mapped[str]
    granted_at: Mapped[datetime]
    granted_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    ended_at: Mapped[datetime | None]
    end_reason: Mapped[str | None]
