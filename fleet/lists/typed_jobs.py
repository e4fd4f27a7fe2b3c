"""What is on record of a job or joint as one would type it: by heading, for a form that changes it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sqlalchemy import bindparam, select

from fleet.lists.exports import write_when
from fleet.records import JointRow
from fleet.records.base import rows_of
from fleet.rules.joints import JOINT_FIELDS

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

    from fleet.lists.jobs import JobLine, JointLine

_JOINTS = rows_of(JointRow)
_ONE = select(_JOINTS).where(_JOINTS.c.id == bindparam("id"))


def job_cells(job: JobLine) -> dict[str, str]:
    """A job by the headings of its sheet."""
    return {
        "Job": job.code,
        "Name": job.name,
        "Start": write_when(job.starts_at, job.time_zone),
        "End": write_when(job.ends_at, job.time_zone, end=True),
        "Crews": _typed(job.crews),
    }


def joint_cells(db: Connection, joint: JointLine) -> dict[str, str]:
    """A joint by the headings of its sheet; measures as they were written."""
    row = db.execute(_ONE, {"id": joint.id}).mappings().one()
    return {one.heading: _typed(row[one.into[0]]) for one in JOINT_FIELDS if one.into[0] in row}


def _typed(value: Any) -> str:  # noqa: ANN401  Whatever a column holds.
    if value is None:
        return ""
    return f"{value:.12g}" if isinstance(value, float) else str(value)
