"""Everything that a crew takes along to one joint: the checked kit, its settings, and what falls due."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import BindParameter, bindparam, or_, select

from fleet.bolting.budgets import USUAL_WRENCH_PERCENT, GaugeFacts, TorqueUncertainty, torque_uncertainty
from fleet.bolting.figures import Units, known
from fleet.bolting.gauges import set_by_gauge
from fleet.bolting.parts import Kind
from fleet.bolting.passes import Pass, plan_passes
from fleet.bolting.torque import reaction_force_n
from fleet.lists.items import item_facts
from fleet.lists.kits import KitCheck, check_kit, window_of
from fleet.lists.pairs import paired_gauge
from fleet.lists.parts import Piece, pieces
from fleet.records import ItemRow, ModelRow, ReservationRow
from fleet.refusals import NotPossible, OffTheChart, Refusal
from fleet.rules.due import never_done

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.bolting.charts import Reading
    from fleet.lists.jobs import JobLine, JointLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.kits import JointFacts
    from fleet.rules.loans import ItemFacts


@dataclass(frozen=True, slots=True)
class NextDue:
    """What falls due next of an item. ``inside``: by the last day of the job; ``use``: by its meter."""

    task: str
    on: date
    use: bool
    inside: bool
    never: bool


@dataclass(frozen=True, slots=True)
class SheetItem:
    """One item of the kit; ``due`` is empty where nothing of it ever falls due."""

    tag: str
    kind: str
    model: str
    serial: str
    due: NextDue | None


@dataclass(frozen=True, slots=True)
class SetPass:
    """One pass, and what the gauge is set to for it; None where it shows nothing of the chart near it."""

    plan: Pass
    setting: Reading | None


@dataclass(frozen=True, slots=True)
class Reaction:
    """The lever of the wrench, and what its reaction point must bear: at the target, and at the most."""

    arm_mm: float
    at_target_n: float
    at_most_n: float | None


@dataclass(frozen=True, slots=True)
class KitSheet:
    """One kit at one joint of a job. Passes and uncertainty stay empty for a kit that may not be used."""

    job: JobLine
    joint: JointLine
    site_name: str
    first_day: date
    last_day: date
    units: Units
    asked: JointFacts
    check: KitCheck
    pieces: tuple[Piece, ...]
    items: tuple[SheetItem, ...]
    passes: tuple[SetPass, ...]
    no_passes: str | None
    """Why no passes can be planned."""
    uncertainty: TorqueUncertainty | None
    wrench_percent: float
    """How far the wrench is taken to be off its chart."""
    reaction: Reaction | None
    paired: str | None
    """The label of the gauge that the wrench was calibrated with."""


_IDS: BindParameter[int] = bindparam("ids", expanding=True)
_PLATES = (
    select(ItemRow.id, ItemRow.serial, ModelRow.arm_mm)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(ItemRow.id.in_(_IDS))
)
_KEPT = (
    select(ReservationRow.item_id, ModelRow.kind)
    .join(ItemRow, ItemRow.id == ReservationRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(
        ReservationRow.job_id == bindparam("job"),
        or_(ReservationRow.joint_id == bindparam("joint"), ReservationRow.joint_id.is_(None)),
        ReservationRow.ended_at.is_(None),
    )
    .order_by(ModelRow.kind, ItemRow.tag)
)


def kept_kit(db: Connection, job: JobLine, joint: JointLine) -> list[int]:
    """The items that are kept for the joint, or for its job as a whole; they must be one kit."""
    kept = {row.item_id: row.kind for row in db.execute(_KEPT, {"job": job.id, "joint": joint.id})}
    if not kept:
        raise NotPossible(f"Nothing is reserved for {joint.mark} of {job.code}. Reserve its kit, or name it.")
    for kind in (Kind.PUMP, Kind.WRENCH):
        count = list(kept.values()).count(kind)
        if count > 1:
            one = f"{count} {kind}{'es' if kind is Kind.WRENCH else 's'} are reserved for {joint.mark}"
            raise NotPossible(f"{one} of {job.code}. A sheet is for one kit: name its items.")
    return list(kept)


def kit_sheet(
    db: Connection,
    site: SiteLine,
    job: JobLine,
    joint: JointLine,
    asked: JointFacts,
    ids: Sequence[int],
    percents: Sequence[float],
    *,
    now: datetime,
) -> KitSheet:
    """Check the kit as the counter does, and work out what a crew sets it to."""
    window = window_of(job, site)
    units = Units(site.pressure_unit, site.torque_unit)
    chosen = pieces(db, ids)
    check = check_kit(db, ids, asked, window, now=now)
    plates = {row.id: row for row in db.execute(_PLATES, {"ids": list(ids)})}
    wrench = next((piece for piece in chosen if piece.kind == Kind.WRENCH), None)
    passes, refused = _passes(check, wrench, chosen, joint, percents, units) if check.usable else ((), None)
    facts = item_facts(db, ids, now=now)
    return KitSheet(
        job=job,
        joint=joint,
        site_name=site.name,
        first_day=window.first_day,
        last_day=window.last_day,
        units=units,
        asked=asked,
        check=check,
        pieces=tuple(chosen),
        items=tuple(
            SheetItem(
                piece.tag,
                piece.kind,
                piece.model,
                plates[piece.id].serial,
                _next_due(facts[piece.id], window.last_day),
            )
            for piece in chosen
        ),
        passes=passes,
        no_passes=refused,
        uncertainty=_uncertainty(check, wrench, chosen, asked) if check.usable else None,
        wrench_percent=USUAL_WRENCH_PERCENT,
        reaction=_reaction(check, asked, plates[wrench.id].arm_mm) if wrench else None,
        paired=paired_gauge(db, wrench.id) if wrench else None,
    )


def _passes(
    check: KitCheck,
    wrench: Piece | None,
    chosen: Sequence[Piece],
    joint: JointLine,
    percents: Sequence[float],
    units: Units,
) -> tuple[tuple[SetPass, ...], str | None]:
    """Every pass with the setting of the kit's gauge, never above what the kit may use."""
    most, gauge = check.kit.available, _gauge(chosen)
    if wrench is None or wrench.chart is None or most is None:
        return (), None
    try:
        plan = plan_passes(wrench.chart, joint.torque_nm, joint.bolts, percents, units)
    except Refusal as refusal:
        return (), str(refusal)
    step = gauge.graduation_mpa if gauge else None
    found = []
    for one in plan:
        setting = None
        if one.reading and known(step):
            try:
                setting = set_by_gauge(wrench.chart, one.reading.pressure_mpa, step, most.pressure_mpa)
            except OffTheChart:
                setting = None
        found.append(SetPass(one, setting))
    return tuple(found), None


def _gauge(chosen: Sequence[Piece]) -> Piece | None:
    return next((piece for piece in chosen if piece.kind == Kind.GAUGE), None)


def _uncertainty(
    check: KitCheck, wrench: Piece | None, chosen: Sequence[Piece], asked: JointFacts
) -> TorqueUncertainty | None:
    """How well the torque is known; nothing where the gauge is not known well enough to tell."""
    gauge, at = _gauge(chosen), check.kit.set_pressure
    if wrench is None or wrench.chart is None or gauge is None or at is None or gauge.accuracy is None:
        return None
    range_mpa, step = gauge.part.gauge_range_mpa, gauge.graduation_mpa
    if not (known(range_mpa) and known(step)):
        return None
    facts = GaugeFacts(gauge.accuracy, range_mpa, step)
    return torque_uncertainty(
        wrench.chart,
        at.pressure_mpa,
        facts,
        USUAL_WRENCH_PERCENT,
        tolerance_percent=asked.tolerance_percent,
    )


def _reaction(check: KitCheck, asked: JointFacts, arm_mm: float | None) -> Reaction | None:
    if not known(arm_mm):
        return None
    most = check.kit.available_nm
    at_most = reaction_force_n(most, arm_mm) if known(most) else None
    return Reaction(arm_mm, reaction_force_n(asked.target_torque_nm, arm_mm), at_most)


def _next_due(item: ItemFacts, last_day: date) -> NextDue | None:
    """What of an item falls due first, by calendar or by its meter."""
    found = [
        NextDue(
            due.task,
            min(days),
            min(days) != due.due_on,
            min(days) <= last_day,
            never_done(due.last_done_on, due.counts_from),
        )
        for due in item.dues
        if (days := [day for day in (due.due_on, due.forecast_on) if day is not None])
    ]
    return min(found, key=lambda one: (one.on, one.task), default=None)
