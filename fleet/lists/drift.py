"""How the points of an item moved from certificate to certificate."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select

from fleet.bolting.parts import Kind
from fleet.records import CalibrationPointRow, CalibrationRow, ItemRow, ModelRow
from fleet.rules.drift import Drift, DriftPoint, drift_of
from fleet.rules.evidence import Stage, Standing

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine

_DRIFT = (
    select(
        CalibrationRow.id,
        CalibrationRow.certificate_no,
        CalibrationRow.calibrated_on,
        CalibrationPointRow.stage,
        CalibrationPointRow.at_mpa,
        CalibrationPointRow.found_si,
        CalibrationPointRow.reference_si,
        CalibrationPointRow.tolerance,
        CalibrationPointRow.expanded,
        CalibrationPointRow.result,
        ModelRow.kind,
        ModelRow.range_mpa,
    )
    .join(CalibrationPointRow, CalibrationPointRow.calibration_id == CalibrationRow.id)
    .join(ItemRow, ItemRow.id == CalibrationRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(CalibrationRow.item_id == bindparam("item"), CalibrationRow.standing != Standing.REFUSED)
    .order_by(CalibrationRow.calibrated_on, CalibrationRow.id, CalibrationPointRow.position)
)


def drift(db: Connection, item: ItemLine) -> Drift:
    """How the item's points moved from certificate to certificate; refused ones are left out."""
    found = []
    for row in db.execute(_DRIFT, {"item": item.id}):
        whole = row.reference_si if row.kind == Kind.WRENCH else (row.range_mpa or row.reference_si)
        found.append(
            DriftPoint(
                calibration=row.id,
                certificate=row.certificate_no,
                calibrated_on=row.calibrated_on,
                stage=Stage(row.stage),
                at_mpa=row.at_mpa,
                found_si=row.found_si,
                error_percent=100 * (row.found_si - row.reference_si) / whole,
                expanded_percent=None if row.expanded is None else 100 * row.expanded / whole,
                tolerance_percent=100 * row.tolerance / whole,
                result=row.result,
            )
        )
    return drift_of(item.tag, item.kind, found)
