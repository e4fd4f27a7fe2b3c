"""Items sent away, certificates and their points, interval proposals, and limits of single items."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from fleet.records.base import Base, Key, one_of, table
from fleet.rules.calibrations import DecisionRule, Result
from fleet.rules.evidence import Choice, Errand, Stage, Standing


class AwayRow(Base):
    """One item sent to a laboratory or workshop; away while ``back_at`` is empty."""

    __tablename__ = "away"
    __table_args__ = table(
        one_of("errand", Errand),
        one_of("decision_rule", DecisionRule),
        CheckConstraint("tolerance_percent > 0", name="tolerance_positive"),
        CheckConstraint(
            "errand <> 'calibration' OR (decision_rule IS NOT NULL AND tolerance_percent IS NOT NULL)",
            name="rule_chosen_before",
        ),
        Index(
            "uq_away_open",
            "item_id",
            unique=True,
            sqlite_where=text("back_at IS NULL"),
            postgresql_where=text("back_at IS NULL"),
        ),
    )

    id: Mapped[Key]
    client_id: Mapped[str] = mapped_column(unique=True)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    errand: Mapped[str]
    sent_to: Mapped[str]
    decision_rule: Mapped[str | None]
    tolerance_percent: Mapped[float | None]
    paired_gauge_id: Mapped[int | None] = mapped_column(ForeignKey("item.id"))
    sent_at: Mapped[datetime]
    sent_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    wanted_on: Mapped[date | None]
    back_at: Mapped[datetime | None]
    back_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    note: Mapped[str | None]


class CalibrationRow(Base):
    """One certificate of one item. Its figures never change; a named person accepts or refuses it once."""

    __tablename__ = "calibration"
    __table_args__ = table(
        one_of("decision_rule", DecisionRule),
        one_of("standing", Standing),
        one_of("as_found", Result),
        one_of("as_left", Result),
        CheckConstraint("(standing = 'received') = (decided_at IS NULL)", name="decided_once"),
        CheckConstraint("tolerance_percent > 0", name="tolerance_positive"),
        CheckConstraint("coverage_factor > 0", name="coverage_factor_positive"),
        UniqueConstraint("item_id", "laboratory", "certificate_no"),
        Index("ix_calibration_item", "item_id", "calibrated_on"),
    )

    id: Mapped[Key]
    client_id: Mapped[str] = mapped_column(unique=True)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    task_id: Mapped[int] = mapped_column(ForeignKey("upkeep_task.id"))
    away_id: Mapped[int | None] = mapped_column(ForeignKey("away.id"))
    certificate_no: Mapped[str]
    laboratory: Mapped[str]
    accreditation: Mapped[str | None]
    calibrated_on: Mapped[date]
    reference: Mapped[str]
    traceability: Mapped[str]
    paired_gauge_id: Mapped[int | None] = mapped_column(ForeignKey("item.id"))
    decision_rule: Mapped[str]
    tolerance_percent: Mapped[float]
    coverage_factor: Mapped[float]
    as_found: Mapped[str | None]
    as_left: Mapped[str | None]
    cycles_at: Mapped[int]
    minutes_at: Mapped[int]
    note: Mapped[str | None]
    received_at: Mapped[datetime]
    received_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    standing: Mapped[str]
    decided_at: Mapped[datetime | None]
    decided_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    decided_by_name: Mapped[str | None]
    decision_note: Mapped[str | None]
    chart_id: Mapped[int | None] = mapped_column(ForeignKey("chart.id"))


class CalibrationPointRow(Base):
    """One point of a certificate, as found or as left. Append-only.

    Wrench: ``at`` is the pump pressure in MPa, reference and found are torques in N·m, the reference being
    the chart's. Gauge: ``at`` and reference are the applied pressure, found is what it showed, all in MPa.
    """

    __tablename__ = "calibration_point"
    __table_args__ = table(
        one_of("stage", Stage),
        one_of("result", Result),
        CheckConstraint("tolerance > 0", name="tolerance_positive"),
        CheckConstraint("expanded >= 0", name="expanded_not_negative"),
        UniqueConstraint("calibration_id", "stage", "position"),
    )

    id: Mapped[Key]
    calibration_id: Mapped[int] = mapped_column(ForeignKey("calibration.id"))
    stage: Mapped[str]
    position: Mapped[int]
    at_written: Mapped[str]
    at_mpa: Mapped[float]
    reference_si: Mapped[float]
    found_written: Mapped[str]
    found_si: Mapped[float]
    tolerance: Mapped[float]
    expanded: Mapped[float | None]
    result: Mapped[str]


class LimitRow(Base):
    """Another interval or life for one task of one item, with the document that allows it."""

    __tablename__ = "item_limit"
    __table_args__ = table(
        CheckConstraint("every_months > 0", name="every_months_positive"),
        CheckConstraint("every_cycles > 0", name="every_cycles_positive"),
        CheckConstraint("every_minutes > 0", name="every_minutes_positive"),
        CheckConstraint(
            "coalesce(every_months, every_cycles, every_minutes) IS NOT NULL", name="has_a_clock"
        ),
        CheckConstraint("(ended_at IS NULL) = (end_reason IS NULL)", name="ended_for_a_reason"),
        Index(
            "uq_item_limit_current",
            "item_id",
            "task_id",
            unique=True,
            sqlite_where=text("ended_at IS NULL"),
            postgresql_where=text("ended_at IS NULL"),
        ),
    )

    id: Mapped[Key]
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    task_id: Mapped[int] = mapped_column(ForeignKey("upkeep_task.id"))
    every_months: Mapped[int | None]
    every_cycles: Mapped[int | None]
    every_minutes: Mapped[int | None]
    reason: Mapped[str]
    document: Mapped[str]
    set_at: Mapped[datetime]
    set_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    ended_at: Mapped[datetime | None]
    end_reason: Mapped[str | None]


class IntervalProposalRow(Base):
    """A proposed interval for one task of one item, or of a whole kind or model when ``item_id`` is empty.

    Changes nothing by itself: a person takes or declines it, with a reason.
    """

    __tablename__ = "interval_proposal"
    __table_args__ = table(
        one_of("choice", Choice),
        CheckConstraint("proposed_months > 0", name="proposed_months_positive"),
        CheckConstraint("(choice IS NULL) = (decided_at IS NULL)", name="decided_once"),
        CheckConstraint("(choice IS NULL) = (decision_reason IS NULL)", name="decided_for_a_reason"),
        Index("ix_interval_proposal_task", "task_id"),
    )

    id: Mapped[Key]
    task_id: Mapped[int] = mapped_column(ForeignKey("upkeep_task.id"))
    item_id: Mapped[int | None] = mapped_column(ForeignKey("item.id"))
    method: Mapped[str]
    evidence: Mapped[str]
    now_months: Mapped[int | None]
    proposed_months: Mapped[int]
    made_at: Mapped[datetime]
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    choice: Mapped[str | None]
    decided_at: Mapped[datetime | None]
    decided_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    decision_reason: Mapped[str | None]
