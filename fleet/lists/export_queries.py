"""What each sheet is made of: one statement per sheet, its columns in the order of the sheet's headings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sqlalchemy import exists, func, select
from sqlalchemy.orm import aliased

from fleet.lists.export_plans import PLANNED
from fleet.records import (
    BreakoutRow,
    ChartPointRow,
    ChartRow,
    CompetenceRow,
    CouplingRow,
    HoldRow,
    ItemRow,
    JobRow,
    JointRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    PersonRow,
    PortRow,
    ReservationRow,
    RoleRow,
    SiteRow,
    TaskAfterRepairRow,
    TaskRow,
    UpkeepRow,
    UsageRow,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

_RELEASER = aliased(PersonRow)
_BORROWER = aliased(PersonRow)
_DEPUTY = aliased(PersonRow)
_REVERSED = aliased(UsageRow)
_WITHDRAWN = aliased(BreakoutRow)
_UNDOING = aliased(UpkeepRow)
# The repairs after which a task is due again, in one cell.
_AGAIN_AFTER = (
    select(func.aggregate_strings(TaskAfterRepairRow.work, "; "))
    .where(TaskAfterRepairRow.task_id == TaskRow.id)
    .scalar_subquery()
    .label("again_after")
)

QUERIES: Mapping[str, Any] = {
    "sites": select(
        SiteRow.code,
        SiteRow.name,
        SiteRow.time_zone,
        SiteRow.pressure_unit,
        SiteRow.torque_unit,
        SiteRow.letter_weekday,
        SiteRow.letter_hour,
        SiteRow.spare_address,
        SiteRow.quiet_from_hour,
        SiteRow.quiet_until_hour,
        SiteRow.working_days,
    ).order_by(SiteRow.code),
    "people": select(
        PersonRow.badge,
        PersonRow.name,
        PersonRow.address,
        SiteRow.code,
        RoleRow.role,
        PersonRow.active,
        _DEPUTY.badge.label("deputy"),
    )
    .select_from(PersonRow)
    .outerjoin(_DEPUTY, _DEPUTY.id == PersonRow.deputy_id)
    .outerjoin(RoleRow, RoleRow.person_id == PersonRow.id)
    .outerjoin(SiteRow, SiteRow.id == RoleRow.site_id)
    .order_by(PersonRow.badge, SiteRow.code, RoleRow.role),
    "couplings": select(
        CouplingRow.series, CouplingRow.size, CouplingRow.mwp_written, CouplingRow.flush_face
    ).order_by(CouplingRow.series, CouplingRow.size),
    "models": select(
        ModelRow.designation,
        ModelRow.kind,
        ModelRow.description,
        ModelRow.mwp_advance_written,
        ModelRow.mwp_retract_written,
        ModelRow.head,
        ModelRow.drive_written,
        ModelRow.across_flats_written,
        ModelRow.relief_advance_written,
        ModelRow.relief_retract_written,
        ModelRow.burst_ratio,
        ModelRow.length_written,
        ModelRow.range_written,
        ModelRow.accuracy_class,
        ModelRow.graduation_written,
        ModelRow.stroke_degrees,
        ModelRow.advance_volume_written,
        ModelRow.return_volume_written,
        ModelRow.flow_written,
        ModelRow.bulk_months,
        ModelRow.storage_months,
        ModelRow.width_written,
        ModelRow.height_written,
        ModelRow.weight_written,
        ModelRow.arm_written,
    ).order_by(ModelRow.designation),
    "ports": select(
        ModelRow.designation,
        PortRow.line,
        PortRow.faces,
        CouplingRow.series,
        CouplingRow.size,
        PortRow.half,
    )
    .select_from(PortRow)
    .join(ModelRow, ModelRow.id == PortRow.model_id)
    .join(CouplingRow, CouplingRow.id == PortRow.coupling_id)
    .order_by(ModelRow.designation, PortRow.line, PortRow.faces),
    "charts": select(
        ModelRow.designation,
        ItemRow.tag,
        ChartPointRow.pressure_written,
        ChartPointRow.torque_written,
        ChartRow.source,
    )
    .select_from(ChartPointRow)
    .join(ChartRow, ChartRow.id == ChartPointRow.chart_id)
    .join(ModelRow, ModelRow.id == ChartRow.model_id)
    .outerjoin(ItemRow, ItemRow.id == ChartRow.item_id)
    .where(ChartRow.replaced_at.is_(None))
    .order_by(ModelRow.designation, ChartRow.id, ChartPointRow.pressure_mpa),
    "upkeep": select(
        TaskRow.name,
        TaskRow.kind,
        ModelRow.designation,
        TaskRow.every_months,
        TaskRow.every_cycles,
        TaskRow.every_minutes,
        TaskRow.counts_from,
        TaskRow.lead_days,
        TaskRow.stop,
        TaskRow.proved_by,
        _AGAIN_AFTER,
    )
    .select_from(TaskRow)
    .outerjoin(ModelRow, ModelRow.id == TaskRow.model_id)
    .order_by(TaskRow.kind, TaskRow.name, ModelRow.designation),
    "items": select(
        ItemRow.tag,
        ModelRow.designation,
        ItemRow.serial,
        SiteRow.code,
        ItemRow.shelf,
        ItemRow.received_on,
        ItemRow.assembled_on,
        ItemRow.relief_advance_written,
        ItemRow.relief_retract_written,
        ItemRow.retired_on,
        ItemRow.retired_reason,
        ItemRow.bulk_made_on,
    )
    .select_from(ItemRow)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .order_by(ItemRow.tag),
    **PLANNED,
    "breakouts": select(
        JobRow.code,
        JointRow.mark,
        ItemRow.tag,
        BreakoutRow.measured_on,
        BreakoutRow.torque_written,
        BreakoutRow.pressure_written,
        PersonRow.badge,
        func.coalesce(BreakoutRow.reason, BreakoutRow.note),
        BreakoutRow.client_id,
        _WITHDRAWN.client_id.label("withdraws"),
    )
    .select_from(BreakoutRow)
    .join(JointRow, JointRow.id == BreakoutRow.joint_id)
    .join(JobRow, JobRow.id == JointRow.job_id)
    .outerjoin(ItemRow, ItemRow.id == BreakoutRow.item_id)
    .outerjoin(PersonRow, PersonRow.id == BreakoutRow.by_id)
    .outerjoin(_WITHDRAWN, _WITHDRAWN.id == BreakoutRow.withdraws_id)
    .order_by(BreakoutRow.id),
    "upkeep done": select(
        ItemRow.tag,
        TaskRow.name,
        UpkeepRow.done_on,
        UpkeepRow.cycles_at,
        UpkeepRow.minutes_at,
        PersonRow.badge,
        UpkeepRow.note,
        UpkeepRow.client_id,
    )
    .select_from(UpkeepRow)
    .join(ItemRow, ItemRow.id == UpkeepRow.item_id)
    .join(TaskRow, TaskRow.id == UpkeepRow.task_id)
    .outerjoin(PersonRow, PersonRow.id == UpkeepRow.by_id)
    # The sheet knows no withdrawals: what was withdrawn must not come back as done.
    .where(UpkeepRow.withdraws_id.is_(None), ~exists().where(_UNDOING.withdraws_id == UpkeepRow.id))
    .order_by(UpkeepRow.id),
    "use": select(
        ItemRow.tag,
        UsageRow.used_on,
        JobRow.code,
        UsageRow.cycles,
        UsageRow.minutes,
        PersonRow.badge,
        UsageRow.reason,
        UsageRow.client_id,
        _REVERSED.client_id.label("reverses"),
    )
    .select_from(UsageRow)
    .join(ItemRow, ItemRow.id == UsageRow.item_id)
    .outerjoin(JobRow, JobRow.id == UsageRow.job_id)
    .outerjoin(PersonRow, PersonRow.id == UsageRow.by_id)
    .outerjoin(_REVERSED, _REVERSED.id == UsageRow.reverses_id)
    .order_by(UsageRow.id),
    "holds": select(
        ItemRow.tag,
        HoldRow.cause,
        HoldRow.reason,
        HoldRow.opened_at,
        HoldRow.released_at,
        HoldRow.evidence,
        PersonRow.badge.label("by"),
        _RELEASER.badge.label("released_by"),
        SiteRow.time_zone,
    )
    .select_from(HoldRow)
    .join(ItemRow, ItemRow.id == HoldRow.item_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .outerjoin(PersonRow, PersonRow.id == HoldRow.opened_by_id)
    .outerjoin(_RELEASER, _RELEASER.id == HoldRow.released_by_id)
    .order_by(HoldRow.id),
    "loans": select(
        ItemRow.tag,
        _BORROWER.badge,
        JobRow.code,
        LoanRow.issued_at,
        LoanRow.back_on,
        PersonRow.badge.label("by"),
        SiteRow.time_zone,
    )
    .select_from(LoanLineRow)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(ItemRow, ItemRow.id == LoanLineRow.item_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .join(_BORROWER, _BORROWER.id == LoanRow.borrower_id)
    .join(JobRow, JobRow.id == LoanRow.job_id)
    .join(PersonRow, PersonRow.id == LoanRow.issued_by_id)
    .where(LoanLineRow.returned_at.is_(None))
    .order_by(LoanLineRow.id),
    "competences": select(
        PersonRow.badge,
        CompetenceRow.kind,
        CompetenceRow.task,
        CompetenceRow.expires_on,
        CompetenceRow.evidence,
    )
    .join(PersonRow, PersonRow.id == CompetenceRow.person_id)
    .where(CompetenceRow.ended_at.is_(None))
    .order_by(PersonRow.badge, CompetenceRow.kind, CompetenceRow.task),
    "reservations": select(
        ItemRow.tag,
        JobRow.code,
        JointRow.mark,
        ReservationRow.starts_at,
        ReservationRow.ends_at,
        PersonRow.badge.label("by"),
        SiteRow.time_zone,
    )
    .select_from(ReservationRow)
    .join(ItemRow, ItemRow.id == ReservationRow.item_id)
    .join(JobRow, JobRow.id == ReservationRow.job_id)
    .join(SiteRow, SiteRow.id == JobRow.site_id)
    .outerjoin(JointRow, JointRow.id == ReservationRow.joint_id)
    .join(PersonRow, PersonRow.id == ReservationRow.reserved_by_id)
    .where(ReservationRow.ended_at.is_(None))
    .order_by(ReservationRow.id),
}
