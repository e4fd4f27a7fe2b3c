"""What the evidence pack of a job is made of: one statement per subject; a column's name is its heading."""

from __future__ import annotations

from typing import Any

from sqlalchemy import and_, bindparam, exists, or_, select
from sqlalchemy.orm import aliased

from fleet.records import (
    BreakoutRow,
    CalibrationRow,
    ConcessionRow,
    EntryRow,
    HoldRow,
    ImpactLineRow,
    ImpactReviewRow,
    ItemRow,
    JobRow,
    JointRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    PersonRow,
    ReservationRow,
    SiteRow,
    TaskRow,
    UpkeepRow,
    UsageRow,
)

_JOB = bindparam("job", type_=JobRow.id.type)
_BY, _OTHER = aliased(PersonRow), aliased(PersonRow)
_AGAIN, _UNDONE, _UNDONE_TOO = aliased(UsageRow), aliased(UpkeepRow), aliased(UpkeepRow)
_NEWER = aliased(UpkeepRow)
_WITHDRAWN = aliased(BreakoutRow)

DAY_BOOK: Any = (
    select(
        EntryRow.chain,
        EntryRow.seq.label("entry"),
        EntryRow.recorded_at,
        EntryRow.person_name.label("by"),
        EntryRow.act,
        EntryRow.body.label("what"),
        EntryRow.hash,
    )
    .where(EntryRow.about == bindparam("about", type_=EntryRow.about.type))
    .order_by(EntryRow.chain, EntryRow.seq)
)
# A day sorts before every instant of that day, on both engines: as text, and as midnight.
_STOOD = and_(
    UpkeepRow.item_id == LoanLineRow.item_id,
    UpkeepRow.done_on <= LoanRow.issued_at,
    UpkeepRow.withdraws_id.is_(None),
    ~exists().where(_UNDONE.withdraws_id == UpkeepRow.id),
)
_NEWER_STOOD = exists().where(
    _NEWER.item_id == UpkeepRow.item_id,
    _NEWER.task_id == UpkeepRow.task_id,
    _NEWER.done_on <= LoanRow.issued_at,
    _NEWER.withdraws_id.is_(None),
    ~exists().where(_UNDONE_TOO.withdraws_id == _NEWER.id),
    or_(
        _NEWER.done_on > UpkeepRow.done_on,
        and_(_NEWER.done_on == UpkeepRow.done_on, _NEWER.id > UpkeepRow.id),
    ),
)
_ON_LOAN = (
    select(LoanLineRow.item_id).join(LoanRow, LoanRow.id == LoanLineRow.loan_id).where(LoanRow.job_id == _JOB)
)

# What stood behind each item of the job when it went out: the newest entry of each task on that day.
PROOFS_OF_JOB = (
    select(UpkeepRow.inspection_id, UpkeepRow.calibration_id, UpkeepRow.proof_test_id)
    .select_from(LoanLineRow)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(UpkeepRow, _STOOD)
    .where(LoanRow.job_id == _JOB, ~_NEWER_STOOD)
    .subquery()
)

OF_JOB: dict[str, Any] = {
    "Job": select(
        JobRow.code.label("job"), JobRow.name, SiteRow.code.label("site"), JobRow.starts_at, JobRow.ends_at
    )
    .select_from(JobRow)
    .join(SiteRow, SiteRow.id == JobRow.site_id)
    .where(JobRow.id == _JOB),
    "Joints": select(
        JointRow.mark.label("joint"),
        JointRow.bolts,
        JointRow.thread,
        JointRow.nut_series,
        JointRow.across_flats_written.label("across_flats"),
        JointRow.torque_written.label("target_torque"),
        JointRow.tolerance_percent,
        JointRow.loosening_factor,
        JointRow.loosening_reason,
    )
    .where(JointRow.job_id == _JOB)
    .order_by(JointRow.mark),
    "What went out": select(
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation.label("model"),
        LoanRow.issued_at,
        _OTHER.name.label("issued_by"),
        _BY.name.label("to"),
        LoanRow.back_on,
        LoanLineRow.returned_at,
        LoanLineRow.condition,
        LoanLineRow.note,
    )
    .select_from(LoanLineRow)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(ItemRow, ItemRow.id == LoanLineRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(_BY, _BY.id == LoanRow.borrower_id)
    .join(_OTHER, _OTHER.id == LoanRow.issued_by_id)
    .where(LoanRow.job_id == _JOB)
    .order_by(LoanRow.issued_at, ModelRow.kind, ItemRow.tag),
    "On what evidence it went out": select(
        ItemRow.tag,
        LoanRow.issued_at,
        TaskRow.name.label("task"),
        UpkeepRow.done_on.label("last_done_then"),
        UpkeepRow.inspection_id.label("inspection"),
        UpkeepRow.proof_test_id.label("proof_test"),
        CalibrationRow.certificate_no.label("certificate"),
        CalibrationRow.laboratory,
    )
    .select_from(LoanLineRow)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(ItemRow, ItemRow.id == LoanLineRow.item_id)
    .join(UpkeepRow, _STOOD)
    .join(TaskRow, TaskRow.id == UpkeepRow.task_id)
    .outerjoin(CalibrationRow, CalibrationRow.id == UpkeepRow.calibration_id)
    .where(LoanRow.job_id == _JOB, ~_NEWER_STOOD)
    .order_by(LoanRow.issued_at, ItemRow.tag, TaskRow.name),
    "Reserved": select(
        ItemRow.tag,
        JointRow.mark.label("joint"),
        ReservationRow.starts_at,
        ReservationRow.ends_at,
        _BY.name.label("reserved_by"),
        ReservationRow.reserved_at,
        ReservationRow.ended_at,
        ReservationRow.end_reason,
    )
    .select_from(ReservationRow)
    .join(ItemRow, ItemRow.id == ReservationRow.item_id)
    .join(_BY, _BY.id == ReservationRow.reserved_by_id)
    .outerjoin(JointRow, JointRow.id == ReservationRow.joint_id)
    .where(ReservationRow.job_id == _JOB)
    .order_by(ReservationRow.id),
    "Use": select(
        ItemRow.tag,
        UsageRow.used_on,
        JointRow.mark.label("joint"),
        UsageRow.cycles,
        UsageRow.minutes.label("pump_minutes"),
        _BY.name.label("by"),
        UsageRow.id.label("entry"),
        UsageRow.reverses_id.label("reverses_entry"),
        _AGAIN.id.label("reversed_by_entry"),
        UsageRow.reason,
    )
    .select_from(UsageRow)
    .join(ItemRow, ItemRow.id == UsageRow.item_id)
    .outerjoin(JointRow, JointRow.id == UsageRow.joint_id)
    .outerjoin(_BY, _BY.id == UsageRow.by_id)
    .outerjoin(_AGAIN, _AGAIN.reverses_id == UsageRow.id)
    .where(UsageRow.job_id == _JOB)
    .order_by(UsageRow.used_on, UsageRow.id),
    "Breakouts measured": select(
        JointRow.mark.label("joint"),
        BreakoutRow.measured_on,
        BreakoutRow.torque_written.label("torque"),
        BreakoutRow.pressure_written.label("pressure"),
        ItemRow.tag.label("wrench"),
        _BY.name.label("by"),
        BreakoutRow.note,
        _WITHDRAWN.reason.label("withdrawn_because"),
    )
    .select_from(BreakoutRow)
    .join(JointRow, JointRow.id == BreakoutRow.joint_id)
    .outerjoin(ItemRow, ItemRow.id == BreakoutRow.item_id)
    .outerjoin(_BY, _BY.id == BreakoutRow.by_id)
    .outerjoin(_WITHDRAWN, _WITHDRAWN.withdraws_id == BreakoutRow.id)
    .where(JointRow.job_id == _JOB, BreakoutRow.withdraws_id.is_(None))
    .order_by(BreakoutRow.id),
    "Concessions": select(
        ItemRow.tag,
        TaskRow.name.label("task"),
        ConcessionRow.reason_code,
        ConcessionRow.reason,
        _BY.name.label("asked_by"),
        _OTHER.name.label("granted_by"),
        ConcessionRow.starts_at,
        ConcessionRow.ends_at,
    )
    .select_from(ConcessionRow)
    .join(ItemRow, ItemRow.id == ConcessionRow.item_id)
    .join(TaskRow, TaskRow.id == ConcessionRow.task_id)
    .join(_BY, _BY.id == ConcessionRow.asked_by_id)
    .join(_OTHER, _OTHER.id == ConcessionRow.granted_by_id)
    .where(ConcessionRow.job_id == _JOB)
    .order_by(ConcessionRow.id),
    "Holds since the job began": select(
        ItemRow.tag,
        HoldRow.cause,
        HoldRow.reason,
        HoldRow.opened_at,
        HoldRow.released_at,
        HoldRow.evidence,
    )
    .select_from(HoldRow)
    .join(ItemRow, ItemRow.id == HoldRow.item_id)
    .join(JobRow, JobRow.id == _JOB)
    .where(HoldRow.item_id.in_(_ON_LOAN), HoldRow.opened_at >= JobRow.starts_at)
    .order_by(HoldRow.id),
    "Touched by an impact review": select(
        ImpactReviewRow.id.label("review"),
        ItemRow.tag,
        ImpactReviewRow.cause,
        JointRow.mark.label("joint"),
        ImpactLineRow.error_percent.label("torque_error_percent"),
        ImpactLineRow.ruling,
        ImpactLineRow.decided_by_name.label("decided_by"),
        ImpactLineRow.decided_at,
        ImpactLineRow.reason,
    )
    .select_from(ImpactLineRow)
    .join(ImpactReviewRow, ImpactReviewRow.id == ImpactLineRow.review_id)
    .join(ItemRow, ItemRow.id == ImpactReviewRow.item_id)
    .outerjoin(JointRow, JointRow.id == ImpactLineRow.joint_id)
    .where(ImpactLineRow.job_id == _JOB)
    .order_by(ImpactReviewRow.id, ImpactLineRow.id),
    "Day book": DAY_BOOK,
}
