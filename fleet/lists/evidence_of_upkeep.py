"""What the evidence pack of an item says of its upkeep: one statement per subject."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sqlalchemy import and_, bindparam, case, literal, or_, select
from sqlalchemy.orm import aliased

from fleet.records import (
    AwayRow,
    CalibrationPointRow,
    CalibrationRow,
    ChartPointRow,
    ChartRow,
    InspectionAnswerRow,
    InspectionRow,
    ItemRow,
    LimitRow,
    PersonRow,
    ProofTestRow,
    TaskRow,
    UpkeepRow,
    UsageRow,
)

if TYPE_CHECKING:
    from sqlalchemy import ColumnElement
    from sqlalchemy.orm import InstrumentedAttribute

_ITEM = bindparam("item", type_=ItemRow.id.type)
_BY, _OTHER, _THIRD = aliased(PersonRow), aliased(PersonRow), aliased(PersonRow)
_AGAIN, _UNDONE, _GAUGE = aliased(UsageRow), aliased(UpkeepRow), aliased(ItemRow)
_WITHDRAWN = aliased(InspectionRow)


def _yes(flag: InstrumentedAttribute[bool]) -> ColumnElement[str]:
    return case((flag, literal("yes")), else_=literal("no"))


OF_UPKEEP: dict[str, Any] = {
    "Limits of its own": select(
        TaskRow.name.label("task"),
        LimitRow.every_months,
        LimitRow.every_cycles,
        LimitRow.every_minutes,
        LimitRow.reason,
        LimitRow.document,
        LimitRow.set_at,
        _BY.name.label("set_by"),
        LimitRow.ended_at,
        LimitRow.end_reason,
    )
    .select_from(LimitRow)
    .join(TaskRow, TaskRow.id == LimitRow.task_id)
    .outerjoin(_BY, _BY.id == LimitRow.set_by_id)
    .where(LimitRow.item_id == _ITEM)
    .order_by(LimitRow.id),
    "Upkeep done": select(
        UpkeepRow.id.label("entry"),
        TaskRow.name.label("task"),
        UpkeepRow.done_on,
        UpkeepRow.cycles_at.label("cycles"),
        UpkeepRow.minutes_at.label("pump_minutes"),
        _BY.name.label("by"),
        UpkeepRow.recorded_at,
        UpkeepRow.note,
        UpkeepRow.inspection_id.label("inspection"),
        UpkeepRow.proof_test_id.label("proof_test"),
        UpkeepRow.calibration_id.label("certificate"),
        UpkeepRow.withdraws_id.label("withdraws_entry"),
        _UNDONE.id.label("withdrawn_by_entry"),
        UpkeepRow.reason,
    )
    .select_from(UpkeepRow)
    .join(TaskRow, TaskRow.id == UpkeepRow.task_id)
    .outerjoin(_BY, _BY.id == UpkeepRow.by_id)
    .outerjoin(_UNDONE, _UNDONE.withdraws_id == UpkeepRow.id)
    .where(UpkeepRow.item_id == _ITEM)
    .order_by(UpkeepRow.id),
    "Inspections": select(
        InspectionRow.id.label("inspection"),
        InspectionRow.inspected_on,
        InspectionRow.occasion,
        InspectionRow.result,
        InspectionRow.by_name.label("by"),
        InspectionRow.checklist_version.label("checklist"),
        InspectionRow.note,
        InspectionRow.recorded_at,
        InspectionRow.withdraws_id.label("withdraws"),
        _WITHDRAWN.id.label("withdrawn_by"),
        InspectionRow.reason,
    )
    .select_from(InspectionRow)
    .outerjoin(_WITHDRAWN, _WITHDRAWN.withdraws_id == InspectionRow.id)
    .where(InspectionRow.item_id == _ITEM)
    .order_by(InspectionRow.id),
    "Checkpoints": select(
        InspectionAnswerRow.inspection_id.label("inspection"),
        InspectionAnswerRow.position.label("no"),
        InspectionAnswerRow.wording.label("checkpoint"),
        InspectionAnswerRow.answer,
        InspectionAnswerRow.remark,
    )
    .select_from(InspectionAnswerRow)
    .join(InspectionRow, InspectionRow.id == InspectionAnswerRow.inspection_id)
    .where(InspectionRow.item_id == _ITEM)
    .order_by(InspectionAnswerRow.inspection_id, InspectionAnswerRow.position),
    "Proof tests": select(
        ProofTestRow.id.label("test"),
        ProofTestRow.tested_on,
        ProofTestRow.pressure_written.label("pressure"),
        ProofTestRow.held_seconds,
        _yes(ProofTestRow.tight).label("tight"),
        _yes(ProofTestRow.passed).label("passed"),
        _GAUGE.tag.label("gauge"),
        ProofTestRow.by_name.label("by"),
        ProofTestRow.note,
    )
    .select_from(ProofTestRow)
    .outerjoin(_GAUGE, _GAUGE.id == ProofTestRow.gauge_id)
    .where(ProofTestRow.item_id == _ITEM)
    .order_by(ProofTestRow.id),
    "Sent away": select(
        AwayRow.errand,
        AwayRow.sent_to,
        AwayRow.decision_rule,
        AwayRow.tolerance_percent,
        AwayRow.sent_at,
        _BY.name.label("sent_by"),
        AwayRow.wanted_on,
        AwayRow.back_at,
    )
    .select_from(AwayRow)
    .outerjoin(_BY, _BY.id == AwayRow.sent_by_id)
    .where(AwayRow.item_id == _ITEM)
    .order_by(AwayRow.id),
    "Certificates": select(
        CalibrationRow.id.label("no"),
        CalibrationRow.certificate_no.label("certificate"),
        CalibrationRow.laboratory,
        CalibrationRow.accreditation,
        CalibrationRow.calibrated_on,
        CalibrationRow.reference,
        CalibrationRow.traceability,
        _GAUGE.tag.label("paired_gauge"),
        CalibrationRow.decision_rule,
        CalibrationRow.tolerance_percent,
        CalibrationRow.as_found,
        CalibrationRow.as_left,
        CalibrationRow.standing,
        CalibrationRow.decided_by_name.label("decided_by"),
        CalibrationRow.decided_at,
        CalibrationRow.decision_note,
    )
    .select_from(CalibrationRow)
    .outerjoin(_GAUGE, _GAUGE.id == CalibrationRow.paired_gauge_id)
    .where(CalibrationRow.item_id == _ITEM)
    .order_by(CalibrationRow.id),
    "Points of the certificates": select(
        CalibrationPointRow.calibration_id.label("no"),
        CalibrationPointRow.stage,
        CalibrationPointRow.at_written.label("at"),
        CalibrationPointRow.reference_si.label("reference"),
        CalibrationPointRow.found_si.label("found"),
        (CalibrationPointRow.found_si - CalibrationPointRow.reference_si).label("error"),
        CalibrationPointRow.tolerance.label("allowed"),
        CalibrationPointRow.expanded.label("uncertainty"),
        CalibrationPointRow.result,
    )
    .select_from(CalibrationPointRow)
    .join(CalibrationRow, CalibrationRow.id == CalibrationPointRow.calibration_id)
    .where(CalibrationRow.item_id == _ITEM)
    .order_by(CalibrationPointRow.calibration_id, CalibrationPointRow.stage, CalibrationPointRow.position),
    "Charts": select(
        case((ChartRow.item_id.is_(None), literal("of the model")), else_=literal("its own")).label("chart"),
        ChartRow.source,
        ChartRow.entered_at,
        ChartRow.replaced_at,
        ChartPointRow.pressure_written.label("pressure"),
        ChartPointRow.torque_written.label("torque"),
    )
    .select_from(ChartRow)
    .join(ItemRow, ItemRow.id == _ITEM)
    .join(ChartPointRow, ChartPointRow.chart_id == ChartRow.id)
    .where(
        or_(
            ChartRow.item_id == _ITEM, and_(ChartRow.item_id.is_(None), ChartRow.model_id == ItemRow.model_id)
        )
    )
    .order_by(ChartRow.entered_at, ChartRow.id, ChartPointRow.pressure_mpa),
}
