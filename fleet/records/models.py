"""Type plates shared by many items: ratings, ports, pressure-torque charts."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from fleet.bolting.parts import End, Half, Kind, Line
from fleet.records.base import Base, Key, one_of, table
from fleet.rules.register import Head


class CouplingRow(Base):
    """One size of a coupling series, with what it is rated for."""

    __tablename__ = "coupling"
    __table_args__ = table(UniqueConstraint("series", "size"))

    id: Mapped[Key]
    series: Mapped[str]
    size: Mapped[str]
    mwp_written: Mapped[str | None]
    mwp_mpa: Mapped[float | None]
    flush_face: Mapped[bool]


class ModelRow(Base):
    """A type plate. Measures are kept as printed, with the value for arithmetic beside."""

    __tablename__ = "model"
    __table_args__ = table(
        one_of("kind", Kind),
        one_of("head", Head),
        CheckConstraint("(kind = 'wrench') = (head IS NOT NULL)", name="only_wrenches_have_a_head"),
        CheckConstraint("mwp_advance_mpa > 0", name="mwp_advance_positive"),
        CheckConstraint("mwp_retract_mpa > 0", name="mwp_retract_positive"),
        CheckConstraint("burst_ratio > 1", name="burst_ratio_over_one"),
        CheckConstraint("stroke_degrees > 0", name="stroke_degrees_positive"),
        CheckConstraint("advance_volume_cm3 > 0", name="advance_volume_positive"),
        CheckConstraint("return_volume_cm3 > 0", name="return_volume_positive"),
        CheckConstraint("flow_l_min > 0", name="flow_positive"),
        CheckConstraint("width_mm > 0", name="width_positive"),
        CheckConstraint("height_mm > 0", name="height_positive"),
        CheckConstraint("weight_kg > 0", name="weight_positive"),
        CheckConstraint("arm_mm > 0", name="arm_positive"),
        CheckConstraint("bulk_months > 0", name="bulk_months_positive"),
        CheckConstraint("storage_months > 0", name="storage_months_positive"),
    )

    id: Mapped[Key]
    designation: Mapped[str] = mapped_column(unique=True)
    kind: Mapped[str]
    description: Mapped[str | None]
    mwp_advance_written: Mapped[str | None]
    mwp_advance_mpa: Mapped[float | None]
    mwp_retract_written: Mapped[str | None]
    mwp_retract_mpa: Mapped[float | None]
    # Wrenches.
    head: Mapped[str | None]
    # Wrenches with a square drive, and sockets.
    drive_written: Mapped[str | None]
    drive_mm: Mapped[float | None]
    # Ratchet links and sockets.
    across_flats_written: Mapped[str | None]
    across_flats_mm: Mapped[float | None]
    # Pumps; an item's own setting, when recorded, goes before these.
    relief_advance_written: Mapped[str | None]
    relief_advance_mpa: Mapped[float | None]
    relief_retract_written: Mapped[str | None]
    relief_retract_mpa: Mapped[float | None]
    # Hoses.
    burst_ratio: Mapped[float | None]
    length_written: Mapped[str | None]
    length_mm: Mapped[float | None]
    # Gauges.
    range_written: Mapped[str | None]
    range_mpa: Mapped[float | None]
    accuracy_class: Mapped[str | None]
    graduation_written: Mapped[str | None]
    graduation_mpa: Mapped[float | None]
    # Wrenches: the angle of one stroke, and the oil it takes out and back.
    stroke_degrees: Mapped[float | None]
    advance_volume_written: Mapped[str | None]
    advance_volume_cm3: Mapped[float | None]
    return_volume_written: Mapped[str | None]
    return_volume_cm3: Mapped[float | None]
    # Pumps: the flow at working pressure.
    flow_written: Mapped[str | None]
    flow_l_min: Mapped[float | None]
    # Wrenches: the room they take, their weight, and the lever at which they lean on their reaction point.
    width_written: Mapped[str | None]
    width_mm: Mapped[float | None]
    height_written: Mapped[str | None]
    height_mm: Mapped[float | None]
    weight_written: Mapped[str | None]
    weight_kg: Mapped[float | None]
    arm_written: Mapped[str | None]
    arm_mm: Mapped[float | None]
    # Hoses: how old the bulk hose may be at make-up, and how long an assembly may lie before first use.
    bulk_months: Mapped[int | None]
    storage_months: Mapped[int | None]


class PortRow(Base):
    """One port of a model: the line it carries, the side it faces, and the coupling half on it."""

    __tablename__ = "port"
    __table_args__ = table(
        one_of("line", Line),
        one_of("faces", End),
        one_of("half", Half),
        UniqueConstraint("model_id", "line", "faces"),
    )

    id: Mapped[Key]
    model_id: Mapped[int] = mapped_column(ForeignKey("model.id"))
    line: Mapped[str]
    faces: Mapped[str]
    coupling_id: Mapped[int] = mapped_column(ForeignKey("coupling.id"))
    half: Mapped[str]


class ChartRow(Base):
    """A pressure-torque chart of a model, or an item's own when ``item_id`` is given. Older ones are kept."""

    __tablename__ = "chart"
    __table_args__ = table(
        Index(
            "uq_chart_current_model",
            "model_id",
            unique=True,
            sqlite_where=text("item_id IS NULL AND replaced_at IS NULL"),
            postgresql_where=text("item_id IS NULL AND replaced_at IS NULL"),
        ),
        Index(
            "uq_chart_current_item",
            "item_id",
            unique=True,
            sqlite_where=text("item_id IS NOT NULL AND replaced_at IS NULL"),
            postgresql_where=text("item_id IS NOT NULL AND replaced_at IS NULL"),
        ),
    )

    id: Mapped[Key]
    model_id: Mapped[int] = mapped_column(ForeignKey("model.id"))
    item_id: Mapped[int | None] = mapped_column(ForeignKey("item.id"))
    source: Mapped[str]
    entered_at: Mapped[datetime]
    replaced_at: Mapped[datetime | None]


class ChartPointRow(Base):
    """One charted point, as printed and in MPa and N·m."""

    __tablename__ = "chart_point"
    __table_args__ = table(
        CheckConstraint("pressure_mpa > 0", name="pressure_positive"),
        CheckConstraint("torque_nm > 0", name="torque_positive"),
        UniqueConstraint("chart_id", "pressure_mpa"),
    )

    id: Mapped[Key]
    chart_id: Mapped[int] = mapped_column(ForeignKey("chart.id"))
    pressure_written: Mapped[str]
    pressure_mpa: Mapped[float]
    torque_written: Mapped[str]
    torque_nm: Mapped[float]
