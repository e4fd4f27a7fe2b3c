"""What use is planned for items that are kept for the joints of a job."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from sqlalchemy import BindParameter, bindparam, select

from fleet.bolting.parts import Kind
from fleet.lists.parts import pieces, plate_of
from fleet.records import ItemRow, JointRow, ModelRow, ReservationRow
from fleet.rules.strokes import PlannedUse, Turning, plan_use

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from sqlalchemy.engine import Connection

    from fleet.lists.parts import Piece
    from fleet.lists.rows import AnyRow

_JOBS: BindParameter[int] = bindparam("jobs", expanding=True)
_KEPT = (
    select(
        ReservationRow.item_id,
        ReservationRow.job_id,
        ReservationRow.joint_id,
        ModelRow.kind,
        JointRow.bolts,
        JointRow.turn_degrees,
        JointRow.torque_nm,
        JointRow.planned_cycles,
        JointRow.planned_minutes,
    )
    .join(JointRow, JointRow.id == ReservationRow.joint_id)
    .join(ItemRow, ItemRow.id == ReservationRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(ReservationRow.job_id.in_(_JOBS), ReservationRow.ended_at.is_(None))
    .distinct()
)


def planned_use(db: Connection, jobs: Iterable[int]) -> dict[tuple[int, int], PlannedUse]:
    """What is planned for each item and job, over all joints that the item is kept for.

    What a planner wrote is planned for every item of the joint. What is worked out counts as minutes for the
    pump and as cycles for the rest; for that a joint must have one wrench.
    """
    joints: defaultdict[int, list[AnyRow]] = defaultdict(list)
    for row in db.execute(_KEPT, {"jobs": list(jobs)}):
        joints[row.joint_id].append(row)
    machines = _machines(db, joints)
    found: dict[tuple[int, int], PlannedUse] = {}
    for kept in joints.values():
        use = _of_joint(kept, machines)
        for row in kept:
            key = row.item_id, row.job_id
            found[key] = _sum(found.get(key), _share(use, row.kind))
    return found


def _machines(db: Connection, joints: Mapping[int, Sequence[AnyRow]]) -> dict[int, Piece]:
    """The wrenches and pumps of joints whose use is to be worked out."""
    ids = {
        row.item_id
        for kept in joints.values()
        for row in kept
        if row.planned_cycles is None and row.turn_degrees and row.kind in (Kind.WRENCH, Kind.PUMP)
    }
    return {piece.id: piece for piece in pieces(db, sorted(ids))} if ids else {}


def _of_joint(kept: Sequence[AnyRow], machines: Mapping[int, Piece]) -> PlannedUse:
    first = kept[0]
    joint = Turning(
        first.bolts, first.turn_degrees, first.torque_nm, first.planned_cycles, first.planned_minutes
    )
    wrench, pump = _only(kept, Kind.WRENCH, machines), _only(kept, Kind.PUMP, machines)
    return plan_use(joint, plate_of(wrench) if wrench else None, pump.flow_l_min if pump else None)


def _only(kept: Sequence[AnyRow], kind: Kind, machines: Mapping[int, Piece]) -> Piece | None:
    """The one piece of a kind; which of several would turn how many nuts, nobody has said."""
    ids = {row.item_id for row in kept if row.kind == kind}
    return machines.get(ids.pop()) if len(ids) == 1 else None


def _share(use: PlannedUse, kind: str) -> PlannedUse:
    if not use.worked_out:
        return use
    return PlannedUse(None, use.minutes) if kind == Kind.PUMP else PlannedUse(use.cycles, None)


def _sum(one: PlannedUse | None, other: PlannedUse) -> PlannedUse:
    """Both together; what is known of neither stays unknown."""
    if one is None:
        return other
    return PlannedUse(_both(one.cycles, other.cycles), _both(one.minutes, other.minutes))


def _both(one: int | None, other: int | None) -> int | None:
    return None if one is None and other is None else (one or 0) + (other or 0)
