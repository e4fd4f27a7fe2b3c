"""The pieces of a kit as their plates, ports and charts describe them, ready for the rules."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import BindParameter, bindparam, func, select

from fleet.bolting.charts import Chart, ChartPoint, make_chart
from fleet.bolting.gauges import Accuracy, read_accuracy
from fleet.bolting.parts import End, Half, Kind, Line, Part, Port
from fleet.measures.tags import show_tag
from fleet.records import ChartPointRow, ChartRow, CouplingRow, ItemRow, ModelRow, PortRow
from fleet.rules.kits import KitFacts
from fleet.rules.register import Head
from fleet.rules.sockets import SocketFacts
from fleet.rules.strokes import WrenchPlate

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sqlalchemy.engine import Connection

    from fleet.bolting.figures import Units
    from fleet.lists.rows import AnyRow


@dataclass(frozen=True, slots=True)
class Piece:
    """One item as a piece of a kit."""

    id: int
    tag: str
    kind: str
    model: str
    part: Part
    chart: Chart | None
    drive_mm: float | None
    across_flats_mm: float | None
    linked: bool
    graduation_mpa: float | None
    accuracy: Accuracy | None
    stroke_degrees: float | None
    advance_cm3: float | None
    return_cm3: float | None
    flow_l_min: float | None


_IDS: BindParameter[int] = bindparam("ids", expanding=True)
_PLATES = (
    select(
        ItemRow.id,
        ItemRow.tag,
        ItemRow.model_id,
        ModelRow.kind,
        ModelRow.designation,
        ModelRow.head,
        ModelRow.mwp_advance_mpa,
        ModelRow.mwp_retract_mpa,
        func.coalesce(ItemRow.relief_advance_mpa, ModelRow.relief_advance_mpa).label("relief_advance_mpa"),
        func.coalesce(ItemRow.relief_retract_mpa, ModelRow.relief_retract_mpa).label("relief_retract_mpa"),
        ModelRow.range_mpa,
        ModelRow.burst_ratio,
        ModelRow.drive_mm,
        ModelRow.across_flats_mm,
        ModelRow.graduation_mpa,
        ModelRow.accuracy_class,
        ModelRow.stroke_degrees,
        ModelRow.advance_volume_cm3,
        ModelRow.return_volume_cm3,
        ModelRow.flow_l_min,
    )
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(ItemRow.id.in_(_IDS))
)
_PORTS = (
    select(
        PortRow.model_id,
        PortRow.line,
        PortRow.faces,
        CouplingRow.series,
        CouplingRow.size,
        PortRow.half,
        CouplingRow.mwp_mpa,
        CouplingRow.flush_face,
    )
    .join(CouplingRow, CouplingRow.id == PortRow.coupling_id)
    .where(PortRow.model_id.in_(bindparam("models", expanding=True)))
    .order_by(PortRow.id)
)
_CHARTS = (
    select(
        ChartRow.model_id,
        ChartRow.item_id,
        ChartRow.source,
        ChartPointRow.pressure_mpa,
        ChartPointRow.torque_nm,
    )
    .join(ChartPointRow, ChartPointRow.chart_id == ChartRow.id)
    .where(ChartRow.model_id.in_(bindparam("models", expanding=True)), ChartRow.replaced_at.is_(None))
    .order_by(ChartRow.id, ChartPointRow.pressure_mpa)
)


def pieces(db: Connection, ids: Iterable[int]) -> list[Piece]:
    """The items as pieces, in the order asked for."""
    wanted = list(ids)
    rows = {row.id: row for row in db.execute(_PLATES, {"ids": wanted})}
    models = {"models": sorted({row.model_id for row in rows.values()})}
    ports: defaultdict[int, list[Port]] = defaultdict(list)
    for model, line, faces, series, size, half, mwp, flush in db.execute(_PORTS, models):
        ports[model].append(Port(Line(line), End(faces), series, size, Half(half), mwp, flush_face=flush))
    charts = _charts(db, models)
    return [_piece(rows[item], ports[rows[item].model_id], charts) for item in wanted]


def _charts(db: Connection, models: dict[str, list[int]]) -> dict[tuple[int, int | None], Chart]:
    """Current charts by model and item; ``(model, None)`` is the model's."""
    points: defaultdict[tuple[int, int | None, str], list[ChartPoint]] = defaultdict(list)
    for model, item, source, pressure, torque in db.execute(_CHARTS, models):
        points[model, item, source].append(ChartPoint(pressure, torque))
    return {(model, item): make_chart(pts, source) for (model, item, source), pts in points.items()}


def _piece(row: AnyRow, ports: Sequence[Port], charts: dict[tuple[int, int | None], Chart]) -> Piece:
    part = Part(
        label=f"{row.kind} {show_tag(row.tag)}",
        kind=Kind(row.kind),
        mwp_mpa={Line.ADVANCE: row.mwp_advance_mpa, Line.RETRACT: row.mwp_retract_mpa},
        ports=tuple(ports),
        relief_mpa={Line.ADVANCE: row.relief_advance_mpa, Line.RETRACT: row.relief_retract_mpa},
        gauge_range_mpa=row.range_mpa,
        burst_ratio=row.burst_ratio,
    )
    return Piece(
        id=row.id,
        tag=row.tag,
        kind=row.kind,
        model=row.designation,
        part=part,
        chart=charts.get((row.model_id, row.id)) or charts.get((row.model_id, None)),
        drive_mm=row.drive_mm,
        across_flats_mm=row.across_flats_mm,
        linked=row.head == Head.RATCHET_LINK,
        graduation_mpa=row.graduation_mpa,
        accuracy=read_accuracy(row.accuracy_class) if row.accuracy_class else None,
        stroke_degrees=row.stroke_degrees,
        advance_cm3=row.advance_volume_cm3,
        return_cm3=row.return_volume_cm3,
        flow_l_min=row.flow_l_min,
    )


def plate_of(wrench: Piece) -> WrenchPlate:
    """What strokes of a wrench are worked out from."""
    return WrenchPlate(wrench.stroke_degrees, wrench.advance_cm3, wrench.return_cm3, wrench.chart)


def kit_of(chosen: Sequence[Piece], units: Units) -> KitFacts:
    """What the rules judge: the first wrench, gauge and socket of the pieces, and the whole circuit.

    ``units`` are those in which findings are written.
    """
    wrench = next((piece for piece in chosen if piece.kind == Kind.WRENCH), None)
    gauge = next((piece for piece in chosen if piece.kind == Kind.GAUGE), None)
    socket = next((piece for piece in chosen if piece.kind == Kind.SOCKET), None)
    link = wrench.across_flats_mm if wrench and wrench.linked else None
    return KitFacts(
        parts=tuple(piece.part for piece in chosen if piece.kind != Kind.SOCKET),
        chart=wrench.chart if wrench else None,
        drive_mm=wrench.drive_mm if wrench and not wrench.linked else None,
        link_mm=(link, link) if link is not None else None,
        socket=SocketFacts(show_tag(socket.tag), socket.drive_mm, socket.across_flats_mm) if socket else None,
        graduation_mpa=gauge.graduation_mpa if gauge else None,
        gauge_accuracy=gauge.accuracy if gauge else None,
        units=units,
    )
