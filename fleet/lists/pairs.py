"""Which gauge a wrench was calibrated with."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select
from sqlalchemy.orm import aliased

from fleet.measures.tags import show_tag
from fleet.records import CalibrationRow, ItemRow
from fleet.rules.evidence import Standing

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

_GAUGE = aliased(ItemRow)
_PAIRED = (
    select(_GAUGE.tag)
    .select_from(CalibrationRow)
    .outerjoin(_GAUGE, _GAUGE.id == CalibrationRow.paired_gauge_id)
    .where(CalibrationRow.item_id == bindparam("item"), CalibrationRow.standing == Standing.ACCEPTED)
    .order_by(CalibrationRow.calibrated_on.desc(), CalibrationRow.id.desc())
    .limit(1)
)


def paired_gauge(db: Connection, item_id: int) -> str | None:
    """The label of the gauge on the last accepted certificate of a wrench, if one is named there."""
    tag = db.execute(_PAIRED, {"item": item_id}).scalar()
    return f"gauge {show_tag(tag)}" if tag else None
