"""What the sheets of jobs, joints and their templates are made of."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from fleet.records import JobRow, JointRow, JointTemplateRow, SiteRow

if TYPE_CHECKING:
    from collections.abc import Mapping


def _access(row: type[JointRow | JointTemplateRow]) -> tuple[Any, ...]:
    """How the work is done and what gets at it: of a joint and of a template alike."""
    return (
        row.turn_degrees,
        row.duration_minutes,
        row.wrenches_at_once,
        row.head,
        row.drive_written,
        row.widest_written,
        row.highest_written,
        row.heaviest_written,
    )


def _bolting(row: type[JointRow | JointTemplateRow]) -> tuple[Any, ...]:
    return (
        row.bolts,
        row.thread,
        row.nut_series,
        row.across_flats_written,
        row.torque_written,
        row.tolerance_percent,
        row.loosening_factor,
        row.loosening_reason,
    )


PLANNED: Mapping[str, Any] = {
    "jobs": select(
        JobRow.code,
        JobRow.name,
        SiteRow.code.label("site"),
        JobRow.starts_at,
        JobRow.ends_at,
        JobRow.crews,
        SiteRow.time_zone,
    )
    .select_from(JobRow)
    .join(SiteRow, SiteRow.id == JobRow.site_id)
    .order_by(JobRow.code),
    "joint templates": select(
        JointTemplateRow.name, *_bolting(JointTemplateRow), *_access(JointTemplateRow)
    ).order_by(JointTemplateRow.name),
    "joints": select(
        JobRow.code,
        JointRow.mark,
        *_bolting(JointRow),
        JointRow.planned_cycles,
        JointRow.planned_minutes,
        *_access(JointRow),
    )
    .select_from(JointRow)
    .join(JobRow, JobRow.id == JointRow.job_id)
    .order_by(JobRow.code, JointRow.mark),
}
