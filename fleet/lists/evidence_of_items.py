"""What the evidence pack of an item is made of: one statement per subject; a column's name is its heading."""

from __future__ import annotations

from typing import Any

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import aliased

from fleet.lists.evidence_of_jobs import DAY_BOOK
from fleet.lists.evidence_of_upkeep import OF_UPKEEP
from fleet.records import (
    CalibrationRow,
    ConcessionRow,
    DueLineRow,
    FileOfRow,
    HoldRow,
    ImpactLineRow,
    ImpactReviewRow,
    InspectionRow,
    ItemRow,
    JobRow,
    JointRow,
    KeptFileRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    PersonRow,
    ProofTestRow,
    RecallRow,
    RepairRow,
    SiteRow,
    TaskRow,
    UpkeepRow,
    UsageRow,
)

_ITEM = bindparam("item", type_=ItemRow.id.type)
_BY, _OTHER, _THIRD = aliased(PersonRow), aliased(PersonRow), aliased(PersonRow)
_AGAIN, _UNDONE, _GAUGE = aliased(UsageRow), aliased(UpkeepRow), aliased(ItemRow)
_WITHDRAWN = aliased(InspectionRow)

FILES_OF_ITEM = (
    select(FileOfRow.id)
    .outerjoin(InspectionRow, InspectionRow.id == FileOfRow.inspection_id)
    .outerjoin(CalibrationRow, CalibrationRow.id == FileOfRow.calibration_id)
    .outerjoin(RepairRow, RepairRow.id == FileOfRow.repair_id)
    .outerjoin(ProofTestRow, ProofTestRow.id == FileOfRow.proof_test_id)
    .outerjoin(LoanLineRow, LoanLineRow.id == FileOfRow.loan_line_id)
    .where(
        func.coalesce(
            InspectionRow.item_id,
            CalibrationRow.item_id,
            RepairRow.item_id,
            ProofTestRow.item_id,
            LoanLineRow.item_id,
        )
        == _ITEM
    )
)

OF_ITEM: dict[str, Any] = {
    "Item": select(
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation.label("model"),
        ItemRow.serial,
        SiteRow.code.label("site"),
        ItemRow.received_on,
        ItemRow.assembled_on,
        ItemRow.bulk_made_on.label("bulk_hose_made_on"),
        ItemRow.first_out_on,
        ItemRow.retired_on,
        ItemRow.retired_reason,
    )
    .select_from(ItemRow)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .where(ItemRow.id == _ITEM),
    "Type plate": select(
        ModelRow.mwp_advance_written.label("working_pressure_advance"),
        ModelRow.mwp_retract_written.label("working_pressure_retract"),
        func.coalesce(ItemRow.relief_advance_written, ModelRow.relief_advance_written).label(
            "relief_advance"
        ),
        ModelRow.drive_written.label("drive"),
        ModelRow.across_flats_written.label("across_flats"),
        ModelRow.burst_ratio,
        ModelRow.length_written.label("length"),
        ModelRow.range_written.label("range"),
        ModelRow.accuracy_class,
        ModelRow.graduation_written.label("graduation"),
        ItemRow.cycles,
        ItemRow.minutes.label("pump_minutes"),
    )
    .select_from(ModelRow)
    .join(ItemRow, ItemRow.model_id == ModelRow.id)
    .where(ItemRow.id == _ITEM),
    "What is due": select(
        TaskRow.name.label("task"),
        DueLineRow.last_done_on,
        DueLineRow.due_on,
        DueLineRow.due_cycles.label("due_at_cycles"),
        DueLineRow.due_minutes.label("due_at_pump_minutes"),
        TaskRow.stop.label("stop_when_overdue"),
    )
    .select_from(DueLineRow)
    .join(TaskRow, TaskRow.id == DueLineRow.task_id)
    .where(DueLineRow.item_id == _ITEM)
    .order_by(DueLineRow.first_on, TaskRow.name),
    **OF_UPKEEP,
    "Repairs": select(
        RepairRow.id.label("repair"),
        RepairRow.done_on,
        RepairRow.work,
        RepairRow.description,
        RepairRow.by_name.label("by"),
        RepairRow.recorded_at,
    )
    .where(RepairRow.item_id == _ITEM)
    .order_by(RepairRow.id),
    "Holds": select(
        HoldRow.id.label("hold"),
        HoldRow.cause,
        HoldRow.reason,
        HoldRow.opened_at,
        _BY.name.label("opened_by"),
        HoldRow.released_at,
        _OTHER.name.label("released_by"),
        HoldRow.evidence,
        RecallRow.notice.label("recall"),
        HoldRow.inspection_id.label("inspection"),
        HoldRow.repair_id.label("repair"),
        HoldRow.proof_test_id.label("proof_test"),
        HoldRow.calibration_id.label("certificate"),
    )
    .select_from(HoldRow)
    .outerjoin(_BY, _BY.id == HoldRow.opened_by_id)
    .outerjoin(_OTHER, _OTHER.id == HoldRow.released_by_id)
    .outerjoin(RecallRow, RecallRow.id == HoldRow.recall_id)
    .where(HoldRow.item_id == _ITEM)
    .order_by(HoldRow.id),
    "Concessions": select(
        TaskRow.name.label("task"),
        JobRow.code.label("job"),
        ConcessionRow.reason_code,
        ConcessionRow.reason,
        _BY.name.label("asked_by"),
        _OTHER.name.label("granted_by"),
        ConcessionRow.starts_at,
        ConcessionRow.ends_at,
    )
    .select_from(ConcessionRow)
    .join(TaskRow, TaskRow.id == ConcessionRow.task_id)
    .join(JobRow, JobRow.id == ConcessionRow.job_id)
    .join(_BY, _BY.id == ConcessionRow.asked_by_id)
    .join(_OTHER, _OTHER.id == ConcessionRow.granted_by_id)
    .where(ConcessionRow.item_id == _ITEM)
    .order_by(ConcessionRow.id),
    "Impact reviews": select(
        ImpactReviewRow.id.label("review"),
        ImpactReviewRow.cause,
        ImpactReviewRow.since_on,
        ImpactReviewRow.until_on,
        ImpactReviewRow.opened_at,
        ImpactReviewRow.due_on,
        ImpactReviewRow.closed_at,
        ImpactReviewRow.summary,
        JobRow.code.label("job"),
        JointRow.mark.label("joint"),
        ImpactLineRow.error_percent,
        ImpactLineRow.ruling,
        ImpactLineRow.decided_by_name.label("decided_by"),
        ImpactLineRow.reason,
    )
    .select_from(ImpactReviewRow)
    .outerjoin(ImpactLineRow, ImpactLineRow.review_id == ImpactReviewRow.id)
    .outerjoin(JobRow, JobRow.id == ImpactLineRow.job_id)
    .outerjoin(JointRow, JointRow.id == ImpactLineRow.joint_id)
    .where(ImpactReviewRow.item_id == _ITEM)
    .order_by(ImpactReviewRow.id, ImpactLineRow.id),
    "Loans": select(
        LoanRow.issued_at,
        _OTHER.name.label("issued_by"),
        _BY.name.label("to"),
        JobRow.code.label("job"),
        LoanRow.back_on,
        LoanLineRow.returned_at,
        _THIRD.name.label("taken_back_by"),
        LoanLineRow.condition,
        LoanLineRow.note,
    )
    .select_from(LoanLineRow)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(_BY, _BY.id == LoanRow.borrower_id)
    .join(_OTHER, _OTHER.id == LoanRow.issued_by_id)
    .outerjoin(_THIRD, _THIRD.id == LoanLineRow.returned_by_id)
    .join(JobRow, JobRow.id == LoanRow.job_id)
    .where(LoanLineRow.item_id == _ITEM)
    .order_by(LoanLineRow.id),
    "Use": select(
        UsageRow.id.label("entry"),
        UsageRow.used_on,
        UsageRow.cycles,
        UsageRow.minutes.label("pump_minutes"),
        JobRow.code.label("job"),
        JointRow.mark.label("joint"),
        _BY.name.label("by"),
        UsageRow.recorded_at,
        UsageRow.reverses_id.label("reverses_entry"),
        _AGAIN.id.label("reversed_by_entry"),
        UsageRow.reason,
    )
    .select_from(UsageRow)
    .outerjoin(JobRow, JobRow.id == UsageRow.job_id)
    .outerjoin(JointRow, JointRow.id == UsageRow.joint_id)
    .outerjoin(_BY, _BY.id == UsageRow.by_id)
    .outerjoin(_AGAIN, _AGAIN.reverses_id == UsageRow.id)
    .where(UsageRow.item_id == _ITEM)
    .order_by(UsageRow.id),
    "Files kept": select(
        KeptFileRow.sha256.label("digest"),
        KeptFileRow.media_type.label("sort"),
        FileOfRow.caption,
        FileOfRow.inspection_id.label("inspection"),
        FileOfRow.calibration_id.label("certificate"),
        FileOfRow.repair_id.label("repair"),
        FileOfRow.proof_test_id.label("proof_test"),
        KeptFileRow.kept_at,
    )
    .select_from(FileOfRow)
    .join(KeptFileRow, KeptFileRow.id == FileOfRow.file_id)
    .where(FileOfRow.id.in_(FILES_OF_ITEM))
    .order_by(FileOfRow.id),
    "Day book": DAY_BOOK,
}
