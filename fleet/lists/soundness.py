"""What was done on an item that may release a hold, and what its newest inspection and proof test came to."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sqlalchemy import BindParameter, Select, bindparam, case, exists, func, null, select
from sqlalchemy.orm import aliased

from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.records import CalibrationRow, InspectionRow, ProofTestRow, RepairRow
from fleet.refusals import NotFound
from fleet.rules.calibrations import Result
from fleet.rules.evidence import Answer, Standing
from fleet.rules.holds import Evidence, Shown

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine

_LATER = aliased(InspectionRow)
_WITHDRAWN = exists().where(_LATER.withdraws_id == InspectionRow.id)
# Not as "is empty": nearly every one is, and SQLite would take the index of that before the item's.
_STANDS = (func.coalesce(InspectionRow.withdraws_id, 0) == 0, ~_WITHDRAWN)
_NUMBER: BindParameter[int] = bindparam("number")
_ITEM: BindParameter[int] = bindparam("item")
_WITHIN = (Result.PASS.value, Result.CONDITIONAL_PASS.value)
# What it came to when it left: as left where it was adjusted, else as found.
_LEFT = func.coalesce(CalibrationRow.as_left, CalibrationRow.as_found)
# A certificate counts from when somebody accepted it.
_AT = func.coalesce(
    CalibrationRow.decided_at, CalibrationRow.received_at, type_=CalibrationRow.received_at.type
)
_FOUND: dict[Shown, Select[*tuple[Any, ...]]] = {
    Shown.INSPECTION: select(
        InspectionRow.inspected_on,
        InspectionRow.recorded_at,
        case(
            (InspectionRow.withdraws_id.is_not(None), "only withdraws another"),
            (_WITHDRAWN, "was withdrawn"),
            (InspectionRow.result == Answer.REJECT.value, "is a reject"),
        ),
    ).where(InspectionRow.id == _NUMBER, InspectionRow.item_id == _ITEM),
    Shown.REPAIR: select(RepairRow.done_on, RepairRow.recorded_at, null()).where(
        RepairRow.id == _NUMBER, RepairRow.item_id == _ITEM
    ),
    Shown.PROOF_TEST: select(
        ProofTestRow.tested_on,
        ProofTestRow.recorded_at,
        case((~ProofTestRow.passed, "was not passed")),
    ).where(ProofTestRow.id == _NUMBER, ProofTestRow.item_id == _ITEM),
    Shown.CERTIFICATE: select(
        CalibrationRow.calibrated_on,
        _AT,
        case(
            (CalibrationRow.standing == Standing.RECEIVED.value, "was not accepted yet"),
            (CalibrationRow.standing == Standing.REFUSED.value, "was refused"),
            (_LEFT.is_(None), "says nothing of how it left"),
            (_LEFT.not_in(_WITHIN), "shows it out of tolerance"),
        ),
        CalibrationRow.received_at,
    ).where(CalibrationRow.id == _NUMBER, CalibrationRow.item_id == _ITEM),
}
_LAST_INSPECTION = (
    select(InspectionRow.result)
    .where(InspectionRow.item_id == _ITEM, *_STANDS)
    .order_by(InspectionRow.inspected_on.desc(), InspectionRow.id.desc())
    .limit(1)
)
_LAST_PROOF = (
    select(ProofTestRow.passed)
    .where(ProofTestRow.item_id == _ITEM)
    .order_by(ProofTestRow.tested_on.desc(), ProofTestRow.id.desc())
    .limit(1)
)


def find_evidence(db: Connection, item: ItemLine, what: Shown, number: int) -> Evidence:
    """One inspection, repair, proof test or certificate of this item, by its number, and its fault if any."""
    row = db.execute(_FOUND[what], {"number": number, "item": item.id}).first()
    if row is None:
        raise NotFound(f"{show_tag(item.tag)} has no {what.value} {number} on record.")
    done_on, recorded_at, fault, *came_at = row
    named = what.value[:1].upper() + what.value[1:]
    said = f"{named} {number} of {show_day(done_on)} {fault}, so it releases nothing." if fault else ""
    return Evidence(what, number, done_on, recorded_at, said, *came_at)


def soundness(db: Connection, item_id: int) -> tuple[bool, bool]:
    """Whether the item's newest inspection is a reject, and whether its newest proof test was not passed."""
    result = db.execute(_LAST_INSPECTION, {"item": item_id}).scalar()
    passed = db.execute(_LAST_PROOF, {"item": item_id}).scalar()
    return result == Answer.REJECT, passed is False
