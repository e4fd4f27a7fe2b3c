"""Type plates: what a model is rated for, its ports and its chart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import Text, bindparam, func, or_, select

from fleet.lists.rows import lines
from fleet.records import ChartPointRow, ChartRow, CouplingRow, ItemRow, ModelRow, PortRow
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class ModelLine:
    """One model, with how many items of it are in service; what is ``_written`` stands as on its plate."""

    id: int
    model: str
    kind: str
    description: str | None
    head: str | None
    mwp_advance_written: str | None
    mwp_advance_mpa: float | None
    mwp_retract_written: str | None
    mwp_retract_mpa: float | None
    drive_written: str | None
    drive_mm: float | None
    across_flats_written: str | None
    across_flats_mm: float | None
    relief_advance_written: str | None
    relief_advance_mpa: float | None
    relief_retract_written: str | None
    relief_retract_mpa: float | None
    burst_ratio: float | None
    range_written: str | None
    range_mpa: float | None
    accuracy_class: str | None
    stroke_degrees: float | None
    advance_volume_written: str | None
    advance_volume_cm3: float | None
    return_volume_written: str | None
    return_volume_cm3: float | None
    flow_written: str | None
    flow_l_min: float | None
    bulk_months: int | None
    storage_months: int | None
    width_written: str | None
    height_written: str | None
    weight_written: str | None
    arm_written: str | None
    top_torque_nm: float | None
    items: int


@dataclass(frozen=True, slots=True)
class PortLine:
    """One port as recorded, with the maximum working pressure of its coupling."""

    line: str
    faces: str
    series: str
    size: str
    half: str
    mwp_written: str | None
    mwp_mpa: float | None
    flush_face: bool


@dataclass(frozen=True, slots=True)
class PointLine:
    """One charted point as printed, and in MPa and N·m. ``tag`` names the item when the chart is its own."""

    tag: str | None
    source: str
    pressure_written: str
    pressure_mpa: float
    torque_written: str
    torque_nm: float


_MODELS = (
    select(
        ModelRow.id,
        ModelRow.designation,
        ModelRow.kind,
        ModelRow.description,
        ModelRow.head,
        ModelRow.mwp_advance_written,
        ModelRow.mwp_advance_mpa,
        ModelRow.mwp_retract_written,
        ModelRow.mwp_retract_mpa,
        ModelRow.drive_written,
        ModelRow.drive_mm,
        ModelRow.across_flats_written,
        ModelRow.across_flats_mm,
        ModelRow.relief_advance_written,
        ModelRow.relief_advance_mpa,
        ModelRow.relief_retract_written,
        ModelRow.relief_retract_mpa,
        ModelRow.burst_ratio,
        ModelRow.range_written,
        ModelRow.range_mpa,
        ModelRow.accuracy_class,
        ModelRow.stroke_degrees,
        ModelRow.advance_volume_written,
        ModelRow.advance_volume_cm3,
        ModelRow.return_volume_written,
        ModelRow.return_volume_cm3,
        ModelRow.flow_written,
        ModelRow.flow_l_min,
        ModelRow.bulk_months,
        ModelRow.storage_months,
        ModelRow.width_written,
        ModelRow.height_written,
        ModelRow.weight_written,
        ModelRow.arm_written,
        select(func.max(ChartPointRow.torque_nm))
        .join(ChartRow, ChartRow.id == ChartPointRow.chart_id)
        .where(ChartRow.model_id == ModelRow.id, ChartRow.item_id.is_(None), ChartRow.replaced_at.is_(None))
        .scalar_subquery(),
        select(func.count(ItemRow.id))
        .where(ItemRow.model_id == ModelRow.id, ItemRow.retired_on.is_(None))
        .scalar_subquery(),
    )
    .where(
        or_(bindparam("kind", type_=Text()).is_(None), ModelRow.kind == bindparam("kind")),
        or_(
            bindparam("asked", type_=Text()).is_(None),
            func.lower(ModelRow.designation) == func.lower(bindparam("asked")),
        ),
    )
    .order_by(ModelRow.kind, ModelRow.designation)
)
_PORTS = (
    select(
        PortRow.line,
        PortRow.faces,
        CouplingRow.series,
        CouplingRow.size,
        PortRow.half,
        CouplingRow.mwp_written,
        CouplingRow.mwp_mpa,
        CouplingRow.flush_face,
    )
    .join(CouplingRow, CouplingRow.id == PortRow.coupling_id)
    .where(PortRow.model_id == bindparam("model"))
    .order_by(PortRow.faces, PortRow.line)
)
_POINTS = (
    select(
        ItemRow.tag,
        ChartRow.source,
        ChartPointRow.pressure_written,
        ChartPointRow.pressure_mpa,
        ChartPointRow.torque_written,
        ChartPointRow.torque_nm,
    )
    .join(ChartRow, ChartRow.id == ChartPointRow.chart_id)
    .outerjoin(ItemRow, ItemRow.id == ChartRow.item_id)
    .where(ChartRow.model_id == bindparam("model"), ChartRow.replaced_at.is_(None))
    .order_by(ItemRow.tag.is_not(None), ItemRow.tag, ChartPointRow.pressure_mpa)
)


def models(db: Connection, *, kind: str | None = None) -> list[ModelLine]:
    """Every model, by kind and designation."""
    return lines(ModelLine, db.execute(_MODELS, {"kind": kind, "asked": None}))


def find_model(db: Connection, asked: str) -> ModelLine:
    """One model by its designation, whatever its case."""
    found = lines(ModelLine, db.execute(_MODELS, {"kind": None, "asked": asked.strip()}))
    if not found:
        raise NotFound(f"There is no model {asked.strip()!r}. See: fleet models")
    return found[0]


def ports(db: Connection, model: ModelLine) -> list[PortLine]:
    """The ports of a model."""
    return lines(PortLine, db.execute(_PORTS, {"model": model.id}))


def chart_points(db: Connection, model: ModelLine) -> list[PointLine]:
    """The current chart of a model, then those of single items of it."""
    return lines(PointLine, db.execute(_POINTS, {"model": model.id}))
