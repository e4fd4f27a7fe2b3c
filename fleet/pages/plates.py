"""A type plate as pages show it: as it is marked, and beside it in other units."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.pages.reading import pressure_beside, rating_both, setting_both, torque_beside, units_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.bolting.figures import Units
    from fleet.lists.models import ModelLine, PointLine
    from fleet.lists.sites import SiteLine

Plate = list[tuple[str, str | None]]


def plate_of(model: ModelLine, units: Units) -> Plate:
    """What stands on the plate, and what is on record beside it; what is not known is left out."""
    ratings = [
        ("Maximum working pressure, advance", model.mwp_advance_written, model.mwp_advance_mpa),
        ("Maximum working pressure, retract", model.mwp_retract_written, model.mwp_retract_mpa),
        ("Range", model.range_written, model.range_mpa),
    ]
    reliefs = [
        ("Relief setting, advance", model.relief_advance_written, model.relief_advance_mpa),
        ("Relief setting, retract", model.relief_retract_written, model.relief_retract_mpa),
    ]
    return [
        ("What", model.description),
        ("Head", model.head),
        *((what, rating_both(written, mpa, units)) for what, written, mpa in ratings),
        *((what, setting_both(written, mpa, units)) for what, written, mpa in reliefs),
        ("Class", model.accuracy_class),
        ("Square drive", model.drive_written),
        ("Across flats", model.across_flats_written),
        ("Burst ratio", f"{model.burst_ratio:g}:1" if model.burst_ratio else None),
        ("One stroke", f"{model.stroke_degrees:g}°" if model.stroke_degrees else None),
        ("Oil of a stroke, out", model.advance_volume_written),
        ("Oil of a stroke, back", model.return_volume_written),
        ("Flow at working pressure", model.flow_written),
        ("Bulk hose at make-up", _at_most(model.bulk_months, "months old")),
        ("Storage before first use", _at_most(model.storage_months, "months")),
        ("Width", model.width_written),
        ("Height", model.height_written),
        ("Weight", model.weight_written),
        ("Reaction arm", model.arm_written),
    ]


def points_of(points: Sequence[PointLine], site: SiteLine) -> list[tuple[PointLine, str, str]]:
    """The points of a chart, with their pressure and torque in the units they are not written in."""
    units = units_of(site)
    return [
        (
            point,
            pressure_beside(point.pressure_written, point.pressure_mpa, units),
            torque_beside(point.torque_written, point.torque_nm, units),
        )
        for point in points
    ]


def _at_most(number: int | None, what: str) -> str | None:
    return f"at most {number} {what}" if number else None
