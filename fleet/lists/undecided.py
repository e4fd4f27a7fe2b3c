"""Certificates that nobody has accepted or refused yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, case, select

from fleet.lists.rows import lines
from fleet.records import CalibrationRow, ItemRow, ModelRow, PersonRow
from fleet.rules.calibrations import Result
from fleet.rules.evidence import Standing

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine


@dataclass(frozen=True, slots=True)
class UndecidedLine:
    """One certificate as it was taken in; the results are empty where it says nothing of them."""

    id: int
    tag: str
    kind: str
    model: str
    serial: str
    number: str
    laboratory: str
    calibrated_on: date
    as_found: str | None
    as_left: str | None
    received_at: datetime
    received_by: str | None

    @property
    def failed(self) -> bool:
        """Whether it was found out of tolerance."""
        return self.as_found == Result.FAIL


_UNDECIDED = (
    select(
        CalibrationRow.id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.serial,
        CalibrationRow.certificate_no,
        CalibrationRow.laboratory,
        CalibrationRow.calibrated_on,
        CalibrationRow.as_found,
        CalibrationRow.as_left,
        CalibrationRow.received_at,
        PersonRow.name,
    )
    .join(ItemRow, ItemRow.id == CalibrationRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .outerjoin(PersonRow, PersonRow.id == CalibrationRow.received_by_id)
    .where(CalibrationRow.standing == Standing.RECEIVED, ItemRow.site_id == bindparam("site"))
    .order_by(
        case((CalibrationRow.as_found == Result.FAIL, 0), else_=1),
        CalibrationRow.received_at,
        CalibrationRow.id,
    )
)


def undecided(db: Connection, site: SiteLine) -> list[UndecidedLine]:
    """Certificates of the site that wait for somebody's decision: what failed as found first."""
    return lines(UndecidedLine, db.execute(_UNDECIDED, {"site": site.id}))
