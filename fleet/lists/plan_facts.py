"""What a plan of a site is made from: its jobs' joints in a period, and the pieces that could serve them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import BindParameter, bindparam, func, select

from fleet.bolting.figures import Units, exceeds, inches, known
from fleet.bolting.parts import Kind
from fleet.lists.breakouts import measured_of
from fleet.lists.jobs import jobs, joints
from fleet.lists.plan_pools import Joiner, Power, make_pools
from fleet.lists.plan_stock import Stock, plan_stock
from fleet.measures.tags import show_tag
from fleet.measures.times import local_day, show_day, start_of_day, zone
from fleet.planning.facts import PlanFacts, PoolPiece, Work, Wrench
from fleet.records import ItemRow, ModelRow, ReservationRow
from fleet.refusals import NotPossible, Refusal
from fleet.rules.breakouts import MEASURED, Spread, demand, implied_factor
from fleet.rules.kits import JointFacts
from fleet.rules.plans import NotServed
from fleet.rules.sockets import FIT_TOLERANCE_MM, in_both

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.jobs import JobLine, JointLine
    from fleet.lists.parts import Piece
    from fleet.lists.plan_stock import Usable
    from fleet.lists.sites import SiteLine
    from fleet.planning.facts import Busy


@dataclass(frozen=True, slots=True)
class PlannedJoint:
    """One joint as a work of the plan."""

    job: JobLine
    joint: JointLine
    facts: JointFacts
    work: Work


@dataclass(frozen=True, slots=True)
class Ground:
    """All that a plan of one site is made from, and what its kits are completed with."""

    site: SiteLine
    units: Units
    joints: Mapping[str, PlannedJoint]
    """By the key of the work."""
    left_out: tuple[NotServed, ...]
    kept: tuple[str, ...]
    stock: Stock
    power: Mapping[str, Power]
    """By the tag of the wrench."""
    facts: PlanFacts
    aside: tuple[str, ...]


_JOINTS: BindParameter[int] = bindparam("joints", expanding=True)
_SERVED = (
    select(ReservationRow.joint_id, func.count())
    .join(ItemRow, ItemRow.id == ReservationRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(
        ReservationRow.joint_id.in_(_JOINTS),
        ReservationRow.ended_at.is_(None),
        ReservationRow.ends_at > bindparam("now", type_=ReservationRow.ends_at.type),
        ModelRow.kind == Kind.WRENCH,
    )
    .group_by(ReservationRow.joint_id)
)


def joint_facts(joint: JointLine, measured: Spread | None) -> JointFacts | None:
    """The joint as a kit is judged by; None when nobody said how hard it comes loose, and nobody measured."""
    factor, why = joint.loosening_factor, joint.loosening_reason
    if factor is None and measured:
        factor, why = implied_factor(measured, joint.torque_nm), MEASURED
    if factor is None or not why:
        return None
    return JointFacts(
        mark=joint.mark,
        target_torque_nm=joint.torque_nm,
        loosening_factor=factor,
        loosening_reason=why,
        across_flats_mm=joint.across_flats_mm,
        tolerance_percent=joint.tolerance_percent,
        measured=measured,
    )


def gather(db: Connection, site: SiteLine, first: date, last: date, *, now: datetime) -> Ground:
    """Everything for a plan of the site from the first through the last day; raises where there is no job."""
    there, units = zone(site.time_zone), Units(site.pressure_unit, site.torque_unit)
    begins = max(start_of_day(first, there), now)
    ends = start_of_day(last + timedelta(days=1), there)
    if ends <= begins:
        raise NotPossible("The period ends before it starts, or lies in the past; give --from and --to anew.")
    found, left_out, kept = _works(db, site, begins, ends, now)
    stock = plan_stock(db, site, local_day(begins, there), now=now)
    usable = {one.piece.tag: one for one in stock.usable}
    pieces = [one.piece for one in stock.usable]
    pools = make_pools(pieces, units)
    joiner = Joiner(pieces, pools)
    power = {p.tag: said for p in pieces if p.kind == Kind.WRENCH and (said := joiner.power(p))}
    drives, allowed = _drives(found, [usable[tag].piece for tag in power], stock)
    works = {key: replace(one, work=replace(one.work, drives=allowed[key])) for key, one in found.items()}
    wrenches = [
        Wrench(tag, drives[tag], round(p.gives_nm, 6), p.pool.name, p.pool.gauge_pool, *_when(usable[tag]))
        for tag, p in power.items()
    ]
    pumps = {p.tag: (Kind.PUMP, pool.name) for pool in pools for p in pool.pumps}
    gauges = {g.tag: (Kind.GAUGE, pool.gauge_pool) for pool in pools for g in pool.gauges}
    pool_pieces = [PoolPiece(t, *which, *_when(usable[t])) for t, which in (pumps | gauges).items()]
    facts = PlanFacts(there, tuple(one.work for one in works.values()), tuple(wrenches), tuple(pool_pieces))
    aside = (*stock.aside, *_unjoined(pieces, power, {*pumps, *gauges}))
    return Ground(site, units, works, left_out, kept, stock, power, facts, aside)


def _when(one: Usable) -> tuple[date | None, tuple[Busy, ...]]:
    return one.due_on, one.busy


def _unjoined(pieces: Iterable[Piece], power: Mapping[str, Power], pooled: set[str]) -> list[str]:
    why = {
        Kind.WRENCH: "no hose or coupler in order joins it to a pump with a gauge.",
        Kind.PUMP: "set lower than the others of its connection, or no gauge goes on it.",
        Kind.GAUGE: "it goes on none of the pumps, or what it can show is not on record.",
    }
    return [
        f"{show_tag(piece.tag)} {piece.kind} {piece.model}: {why[Kind(piece.kind)]}"
        for piece in pieces
        if piece.kind in why and piece.tag not in power and piece.tag not in pooled
    ]


def _works(
    db: Connection, site: SiteLine, begins: datetime, ends: datetime, now: datetime
) -> tuple[dict[str, PlannedJoint], tuple[NotServed, ...], tuple[str, ...]]:
    """The joints to be planned, those that cannot be and why, and those that have their kits already."""
    inside = [job for job in jobs(db, site=site.code, since=begins) if job.starts_at < ends]
    lines = {job.code: joints(db, job) for job in inside}
    if not any(lines.values()):
        first, last = local_day(begins, zone(site.time_zone)), ends - timedelta(microseconds=1)
        period = f"{show_day(first)} to {show_day(local_day(last, zone(site.time_zone)))}"
        raise NotPossible(f"{site.code} has no job with joints from {period}. See: fleet jobs")
    ids = [joint.id for known_joints in lines.values() for joint in known_joints]
    served = {row[0]: row[1] for row in db.execute(_SERVED, {"joints": ids, "now": now})}
    found: dict[str, PlannedJoint] = {}
    left_out, kept = [], []
    for job in inside:
        measured = measured_of(db, job)
        for joint in lines[job.code]:
            missing = (joint.wrenches_at_once or 1) - served.get(joint.id, 0)
            if missing <= 0:
                kept.append(f"{job.code} {joint.mark}")
                continue
            try:
                one = _work(job, joint, measured.get(joint.mark.casefold()), (begins, ends), missing)
            except Refusal as refusal:
                left_out.append(NotServed(job.code, joint.mark, str(refusal)))
            else:
                found[one.work.key] = one
    return found, tuple(left_out), tuple(kept)


def _work(
    job: JobLine, joint: JointLine, measured: Spread | None, period: tuple[datetime, datetime], kits: int
) -> PlannedJoint:
    facts = joint_facts(joint, measured)
    if facts is None:
        raise NotPossible("No loosening factor is planned and nothing was measured before.")
    if not known(joint.across_flats_mm):
        raise NotPossible("The width across flats is not on record: measure a nut.")
    starts, ends = max(job.starts_at, period[0]), min(job.ends_at, period[1])
    duration = timedelta(minutes=joint.duration_minutes) if joint.duration_minutes else ends - starts
    if duration > ends - starts:
        asked, left = (span / timedelta(hours=1) for span in (duration, ends - starts))
        raise NotPossible(f"It takes {asked:.4g} hours, and only {left:.4g} hours of its window are left.")
    plan = facts.target_torque_nm, facts.loosening_factor, facts.loosening_reason
    need, _ = demand(facts.mark, *plan, measured, Units())
    key = f"{job.code} {joint.mark}"
    return PlannedJoint(job, joint, facts, Work(key, (), need.needed_nm, starts, ends, duration, kits))


def _drives(
    works: Mapping[str, PlannedJoint], wrenches: Sequence[Piece], stock: Stock
) -> tuple[dict[str, str], dict[str, tuple[str, ...]]]:
    """A name for what each wrench fits, and the names that do for each work.

    Wrenches share a name when they do for the same works: by drive or link and the sockets there are, by the
    least torque of their charts, and by the room and weight that the joint allows.
    """
    sockets = [one.piece for one in stock.usable if one.piece.kind == Kind.SOCKET]
    does: dict[tuple[str, object], frozenset[str]] = {}
    groups: dict[str, dict[frozenset[str], list[Piece]]] = {}
    for wrench in wrenches:
        same = wrench.model, wrench.chart
        if same not in does:
            does[same] = frozenset(key for key, one in works.items() if _does(wrench, one, sockets, stock))
        groups.setdefault(_fit(wrench), {}).setdefault(does[same], []).append(wrench)
    names: dict[str, str] = {}
    allowed: defaultdict[str, list[str]] = defaultdict(list)
    for fit, members in groups.items():
        for keys, some in members.items():
            models = ", ".join(sorted({wrench.model for wrench in some}))
            name = fit if len(members) == 1 else f"{fit} | {models}"
            while name in allowed or name in names.values():
                name += ", own chart"
            names |= {wrench.tag: name for wrench in some}
            for key in keys:
                allowed[key].append(name)
    nothing = {key: (f"for {in_both(one.joint.across_flats_mm or 0)} nuts",) for key, one in works.items()}
    return names, {key: tuple(allowed[key]) or nothing[key] for key in works}


def _fit(wrench: Piece) -> str:
    if wrench.linked:
        return f"ratchet link {in_both(wrench.across_flats_mm or 0)}"
    return f"{inches(wrench.drive_mm or 0)} square drive"


def _does(wrench: Piece, one: PlannedJoint, sockets: Sequence[Piece], stock: Stock) -> bool:
    """Whether the wrench meets the nut, gets at it, and has the target on its chart; strength aside."""
    joint, sizes = one.joint, stock.sizes[wrench.model]
    if wrench.chart is None or exceeds(wrench.chart.bottom.torque_nm, joint.torque_nm):
        return False
    if wrench.linked:
        meets = _same(wrench.across_flats_mm, joint.across_flats_mm)
    else:
        meets = any(socket_fits(socket, wrench, joint.across_flats_mm) for socket in sockets)
    limits = (
        (joint.widest_mm, sizes.width_mm),
        (joint.highest_mm, sizes.height_mm),
        (joint.heaviest_kg, sizes.weight_kg),
    )
    gets_at = all(most is None or (known(its) and not exceeds(its, most)) for most, its in limits)
    headed = joint.head in (None, sizes.head) and (
        joint.drive_mm is None or _same(wrench.drive_mm, joint.drive_mm)
    )
    return meets and gets_at and headed


def socket_fits(socket: Piece, wrench: Piece, across_flats_mm: float | None) -> bool:
    """Whether the socket goes on the wrench's square and over the nut."""
    return _same(socket.drive_mm, wrench.drive_mm) and _same(socket.across_flats_mm, across_flats_mm)


def _same(ours_mm: float | None, theirs_mm: float | None) -> bool:
    return known(ours_mm) and known(theirs_mm) and abs(ours_mm - theirs_mm) <= FIT_TOLERANCE_MM
