"""Gear that a calculation names: charts, gauges and what they show, items of one kind."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.measures.tags import show_tag
from fleet.papers.bench.asked import about
from fleet.papers.bench.reading import chart_of_table
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from fleet.bolting.charts import Chart
    from fleet.lists.parts import Piece
    from fleet.papers.bench.asked import Asked


def find_chart(asked: Asked, *ways: str) -> Chart:
    """The chart of a table, of a model or of one wrench: its own when it has one."""
    way = asked.only_one("the chart", *(ways or ("points", "model", "item")))
    if way == "points":
        table = asked.points()
        with about(way):
            return chart_of_table(table)
    named = asked.need(way)
    with about(way):
        register = asked.register()
        chart = register.chart_of_model(named) if way == "model" else register.piece(named).chart
        if chart is None:
            raise NotFound(f"There is no pressure-torque chart of {named} on record.")
        return chart


def find_gauge(asked: Asked) -> Piece | None:
    """The gauge that was named by its tag, if one was; refused when it is another kind of thing."""
    if not asked.given("gauge"):
        return None
    tag = asked.need("gauge")
    with about("gauge"):
        piece = asked.register().piece(tag)
        if piece.kind != "gauge":
            raise NotFound(f"{tag} is a {piece.kind}, not a gauge.")
        return piece


@dataclass(frozen=True, slots=True)
class Dial:
    """What a gauge can show: its graduation, and the end of its scale where that is known."""

    step_mpa: float
    end_mpa: float | None


def find_dial(asked: Asked) -> Dial | None:
    """What the gauge can show, as given or as on record; nothing when none was named."""
    piece = find_gauge(asked)
    if asked.given("graduation"):
        step = asked.measure("graduation", "pressure")
        if step <= 0:
            raise asked.amiss("graduation", "A graduation is above zero, such as 20 bar.")
    elif piece is None:
        return None
    elif piece.graduation_mpa is None:
        raise NotFound(
            f"What gauge {asked.text('gauge')} can show is not on record: give it with "
            f"{asked.called('graduation')}."
        )
    else:
        step = piece.graduation_mpa
    return Dial(step, piece.part.gauge_range_mpa if piece else None)


def piece_of_kind(asked: Asked, name: str, kind: str) -> Piece:
    """An item as a piece; refused when it is something else."""
    tag = asked.need(name)
    with about(name):
        piece = asked.register().piece(tag)
        if piece.kind != kind:
            raise NotFound(f"{show_tag(piece.tag)} is a {piece.kind}, not a {kind}.")
        return piece
