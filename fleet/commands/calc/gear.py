"""Gear from the register, when a calculation names it: charts, pieces of a kit, gauges."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from fleet.commands.calc.reading import chart_of_file, only_one
from fleet.commands.door import door
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.engine import Connection

    from fleet.bolting.charts import Chart
    from fleet.bolting.figures import Units
    from fleet.lists.parts import Piece


def find_chart(
    context: typer.Context, points: Path | None, model: str | None = None, item: str | None = None
) -> Chart:
    """The chart of a file, of a model or of one wrench: its own when it has one."""
    way = only_one("the chart", points=points, model=model, item=item)
    if way == "points" and points is not None:
        return chart_of_file(points)
    with door(context).look() as (db, _now):
        chart = _of_model(db, model) if model is not None else _of_item(db, item or "")
    if chart is None:
        raise NotFound(f"There is no pressure-torque chart of {model or item} on record.")
    return chart


def _of_model(db: Connection, designation: str) -> Chart | None:
    from fleet.bolting.charts import ChartPoint, make_chart
    from fleet.lists.models import chart_points, find_model

    found = [point for point in chart_points(db, find_model(db, designation)) if point.tag is None]
    if not found:
        return None
    return make_chart([ChartPoint(p.pressure_mpa, p.torque_nm) for p in found], found[0].source)


def _of_item(db: Connection, tag: str) -> Chart | None:
    from fleet.lists.items import find_item
    from fleet.lists.parts import pieces

    return pieces(db, [find_item(db, tag).id])[0].chart


def find_gauge(context: typer.Context, tag: str) -> Piece:
    """A gauge by its tag; refused when the tag is another kind of thing."""
    from fleet.bolting.parts import Kind
    from fleet.lists.items import find_item
    from fleet.lists.parts import pieces

    with door(context).look() as (db, _now):
        piece = pieces(db, [find_item(db, tag).id])[0]
    if piece.kind != Kind.GAUGE:
        raise NotFound(f"{tag} is a {piece.kind}, not a gauge.")
    return piece


def find_pieces(context: typer.Context, tags: Sequence[str]) -> tuple[list[Piece], Units]:
    """Items as pieces of a kit, and the units of the site of the first."""
    from fleet.bolting.figures import Units
    from fleet.lists.items import find_item
    from fleet.lists.parts import pieces
    from fleet.lists.sites import find_site

    with door(context).look() as (db, _now):
        found = [find_item(db, tag) for tag in tags]
        site = find_site(db, found[0].site)
        return pieces(db, [line.id for line in found]), Units(site.pressure_unit, site.torque_unit)
