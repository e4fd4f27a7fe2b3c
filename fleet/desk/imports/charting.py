"""Pressure-torque charts: all rows of one model, or of one item's own chart, are one chart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import bindparam, insert, select, update

from fleet.bolting.charts import ChartPoint, make_chart
from fleet.bolting.parts import Kind
from fleet.desk.imports.piles import same
from fleet.desk.imports.report import Change
from fleet.desk.imports.work import SHARED
from fleet.measures.quantities import Kind as Measured
from fleet.measures.tags import show_tag
from fleet.records import ChartPointRow, ChartRow
from fleet.records.base import rows_of
from fleet.refusals import Unreadable
from fleet.rules.cells import CellRefused, Field, maybe, measured, text
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.desk.imports.tables import Table
    from fleet.desk.imports.work import Line, Work

    # A model's id, and the id of the item whose own chart it is.
    Owner = tuple[int, int | None]

_WHO = (Role.KEEPER,)
FROM_PLATE = "type plate"
_CHARTS, _POINTS = rows_of(ChartRow), rows_of(ChartPointRow)
_CURRENT = select(ChartRow.id, ChartRow.model_id, ChartRow.item_id, ChartRow.source).where(
    ChartRow.replaced_at.is_(None)
)
_CURRENT_POINTS = (
    select(
        ChartPointRow.chart_id,
        ChartPointRow.pressure_written,
        ChartPointRow.pressure_mpa,
        ChartPointRow.torque_written,
        ChartPointRow.torque_nm,
    )
    .join(ChartRow, ChartRow.id == ChartPointRow.chart_id)
    .where(ChartRow.replaced_at.is_(None))
    .order_by(ChartPointRow.chart_id, ChartPointRow.pressure_mpa)
)
_REPLACE = update(_CHARTS).where(_CHARTS.c.id == bindparam("of_id")).values(replaced_at=bindparam("at"))
_ADD, _ADD_POINTS = insert(_CHARTS), insert(_POINTS)


@dataclass(frozen=True, slots=True)
class _Kept:
    """A current chart on record: its points as written and in MPa and N·m, lowest first."""

    id: int
    source: str
    points: tuple[tuple[Any, ...], ...]


def take_charts(work: Work, tables: Sequence[Table]) -> None:
    """Compare each chart as a whole; a changed one replaces the current one, which stays on record."""
    groups: dict[Owner, list[Line]] = {}
    for line in work.lines(tables, _fields(work)):
        with work.judging(line):
            groups.setdefault(_owner(work, line), []).append(line)
    kept = _charts_on_record(work)
    unread = {
        _named(line): line.where for line in work.unread if any(line.table is table for table in tables)
    }
    replaced, new = [], []
    for owner, lines in groups.items():
        with work.judging(*lines):
            _check_whole(lines, unread)
            current = kept.get(owner)
            chart = _chart(lines, current)
            if current and current.source == chart.source and _alike(current.points, chart.points):
                for line in lines:
                    work.count(line, "unchanged", SHARED)
                continue
            _count(work, lines, current, chart)
            if current:
                replaced.append({"of_id": current.id, "at": work.now})
            new.append((owner, chart))
    _write(work, replaced, new)


def _fields(work: Work) -> tuple[Field, ...]:
    return (
        Field("Model", ("model",), lambda cell, _unit: (work.known.models.find(cell),)),
        Field("Tag", ("item",), lambda cell, _unit: (work.known.item(cell),), (None,)),
        _point("Pressure", Measured.PRESSURE, "pressure_written", "pressure_mpa"),
        _point("Torque", Measured.TORQUE, "torque_written", "torque_nm"),
        maybe("Source", "source", text),
    )


def _point(heading: str, kind: Measured, *into: str) -> Field:
    return Field(heading, into, measured(heading, kind, *into).read)


def _owner(work: Work, line: Line) -> Owner:
    model, item = line.values["model"], line.values.get("item")
    if model.kind != Kind.WRENCH:
        raise CellRefused(
            "other kind", f"{model.designation} is a {model.kind}; only wrenches have charts.", "Model"
        )
    if item and item.model_id != model.id:
        own = work.known.models_by_id[item.model_id].designation
        raise CellRefused(
            "other model", f"{show_tag(item.tag)} is a {own} on record, not a {model.designation}.", "Tag"
        )
    return model.id, item.id if item else None


def _charts_on_record(work: Work) -> dict[Owner, _Kept]:
    points: dict[int, list[tuple[Any, ...]]] = {}
    for row in work.db.execute(_CURRENT_POINTS):
        points.setdefault(row.chart_id, []).append(tuple(row[1:]))
    return {
        (row.model_id, row.item_id): _Kept(row.id, row.source, tuple(points.get(row.id, ())))
        for row in work.db.execute(_CURRENT)
    }


def _check_whole(lines: Sequence[Line], unread: Mapping[tuple[str, str], str]) -> None:
    """A chart of which a row cannot be read is not taken in at all: it would be wrong there."""
    for name in {_named(line) for line in lines}:
        if name in unread:
            raise CellRefused(
                "chart not whole",
                f"A chart is taken in whole or not at all, and {unread[name]} of it is refused.",
            )


def _named(line: Line) -> tuple[str, str]:
    return line.cell("Model").casefold(), line.cell("Tag")


def _chart(lines: Sequence[Line], current: _Kept | None) -> _Kept:
    """The chart these rows make. Raises a refusal when the rules of charts are broken, or sources differ."""
    sources = {line.values.get("source") for line in lines}
    if len(sources) > 1:
        raise CellRefused("sources differ", "Every row of one chart must name the same source.", "Source")
    usual = current.source if current else FROM_PLATE
    source = sources.pop() or usual
    rows = sorted((line.values for line in lines), key=lambda values: values["pressure_mpa"])
    names = ("pressure_written", "pressure_mpa", "torque_written", "torque_nm")
    points = tuple(tuple(values[name] for name in names) for values in rows)
    try:
        make_chart((ChartPoint(point[1], point[3]) for point in points), source)
    except Unreadable as refusal:
        raise CellRefused("chart", str(refusal)) from refusal
    return _Kept(0, source, points)


def _alike(old: Sequence[tuple[Any, ...]], new: Sequence[tuple[Any, ...]]) -> bool:
    return len(old) == len(new) and all(
        same(before, after)
        for point, other in zip(old, new, strict=True)
        for before, after in zip(point, other, strict=True)
    )


def _count(work: Work, lines: Sequence[Line], current: _Kept | None, chart: _Kept) -> None:
    """Check that the actor may, then count the rows; the day book gets both charts in one line each."""
    item = lines[0].values.get("item")
    chain = item.site_id if item else SHARED
    work.allow(chain, *_WHO)
    what = "changed" if current else "new"
    about = lines[0].values["model"].designation + (f", {show_tag(item.tag)}" if item else "")
    changes = [Change("charts", about, "Chart", _said(current), _said(chart))] if current else []
    for line in lines:
        work.count(line, what, chain, changes if line is lines[0] else ())


def _said(chart: _Kept) -> str:
    return f"{chart.source}: " + "; ".join(f"{point[2]} at {point[0]}" for point in chart.points)


def _write(work: Work, replaced: Sequence[dict[str, Any]], new: Sequence[tuple[Owner, _Kept]]) -> None:
    if replaced:
        work.db.execute(_REPLACE, list(replaced))
    charts = [
        {
            "model_id": model,
            "item_id": item,
            "source": chart.source,
            "entered_at": work.now,
            "replaced_at": None,
        }
        for (model, item), chart in new
    ]
    if not charts:
        return
    work.db.execute(_ADD, charts)
    ids = {(row.model_id, row.item_id): row.id for row in work.db.execute(_CURRENT)}
    names = ("pressure_written", "pressure_mpa", "torque_written", "torque_nm")
    points = [
        {"chart_id": ids[owner]} | dict(zip(names, point, strict=True))
        for owner, chart in new
        for point in chart.points
    ]
    work.db.execute(_ADD_POINTS, points)
    work.models_to_rate.update(model for (model, _item), _chart in new)
