"""Pictures for pages: charts and drift, drawn by ourselves."""

from __future__ import annotations

from typing import TYPE_CHECKING

from markupsafe import Markup

from fleet.measures.quantities import Kind, convert
from fleet.measures.tags import show_tag
from fleet.papers.plots import Series, line_plot
from fleet.rules.pictures import drift_picture

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.lists.models import PointLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.drift import Drift


def picture(svg: str) -> Markup:
    """A picture of ours as part of a page."""
    return Markup(svg)  # noqa: S704  Drawn by us; whoever draws escapes every word in it.


def picture_of_chart(points: Sequence[PointLine], title: str, site: SiteLine) -> Markup | None:
    """The model's chart, and the own ones of single items, in the visitor's units."""
    names = list(dict.fromkeys(point.tag for point in points))
    series = [
        Series(
            f"own chart of {show_tag(name)}" if name else "chart of the model",
            tuple(
                (
                    convert(point.pressure_mpa, Kind.PRESSURE, site.pressure_unit),
                    convert(point.torque_nm, Kind.TORQUE, site.torque_unit),
                )
                for point in points
                if point.tag == name
            ),
        )
        for name in names
    ]
    if not series:
        return None
    across, up = f"Set pressure ({site.pressure_unit})", f"Torque ({site.torque_unit})"
    return picture(line_plot(title, across, up, series, key="chart-"))


def picture_of_drift(found: Drift, site: SiteLine) -> Markup | None:
    """The drift of an item; nothing before its first certificate."""
    return picture(drift_picture(found, site.pressure_unit)) if found.nominals else None
