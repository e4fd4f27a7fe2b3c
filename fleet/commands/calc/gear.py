"""Gear from the register, when a calculation names it: charts, pieces of a kit, gauges."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from fleet.commands.calc.reading import chart_of_file, measure, only_one
from fleet.commands.door import door
from fleet.refusals import NotFound, Unreadable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.engine import Connection

    from fleet.bolting.charts import Chart
    from fleet.bolting.figures import Units
    from fleet.lists.jobs import JointLine
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


@dataclass(frozen=True, slots=True)
class Dial:
    """What a gauge can show: its graduation, and the end of its scale where that is known."""

    step_mpa: float
    end_mpa: float | None


def find_dial(context: typer.Context, gauge: str | None, graduation: str | None) -> Dial | None:
    """What the gauge can show, as given or as on record; nothing when none was named."""
    piece = find_gauge(context, gauge) if gauge else None
    if graduation is not None:
        step = measure(graduation, "pressure")
        if step <= 0:
            raise Unreadable("A graduation is above zero, such as 20 bar.")
    elif piece is None:
        return None
    elif piece.graduation_mpa is None:
        raise NotFound(f"What gauge {gauge} can show is not on record: give it with --graduation.")
    else:
        step = piece.graduation_mpa
    return Dial(step, piece.part.gauge_range_mpa if piece else None)


def find_joint_on_plan(context: typer.Context, text: str) -> JointLine:
    """A planned joint, written as JOB/MARK."""
    from fleet.lists.jobs import find_job, find_joint

    job, slash, mark = text.partition("/")
    if not (slash and job.strip() and mark.strip()):
        raise Unreadable(f"{text!r} names no joint: write the job and the joint's mark, as in NB-142/F-1.")
    with door(context).look() as (db, _now):
        return find_joint(db, find_job(db, job.strip()), mark)


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
