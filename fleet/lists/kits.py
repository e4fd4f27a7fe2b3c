"""Does this kit do for this joint; and if not, what in the room would."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import and_, bindparam, exists, func, or_, select

from fleet.bolting.figures import Units
from fleet.bolting.findings import Severity
from fleet.bolting.loosening import CoverState
from fleet.bolting.parts import Kind
from fleet.lists.items import item_facts
from fleet.lists.parts import Piece, kit_of, pieces
from fleet.measures.times import local_day, zone
from fleet.records import (
    ChartPointRow,
    ChartRow,
    HoldRow,
    ItemRow,
    LoanLineRow,
    ModelRow,
    ReservationRow,
    SiteRow,
)
from fleet.rules.kits import JointFacts, KitVerdict, WrenchOffer, judge_kit, smallest_cover, what_to_hire
from fleet.rules.loans import Verdict, Wish, judge
from fleet.rules.sockets import FIT_TOLERANCE_MM

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.jobs import JobLine
    from fleet.lists.sites import SiteLine

# How many wrenches, from the smallest that might do, are tried before the answer is: hire one.
MOST_TRIED = 200
# What to hire is asked for at the pressure class of the trade when the kit itself shows none.
CLASS_MPA = 70.0


@dataclass(frozen=True, slots=True)
class Window:
    """Where the kit would be used, for which job, and from when to when; days at the site."""

    site: str
    job: str
    starts_at: datetime
    ends_at: datetime
    first_day: date
    last_day: date
    units: Units


def window_of(job: JobLine, site: SiteLine) -> Window:
    """The job's own window; its last day is the one in which it ends."""
    there = zone(job.time_zone)
    last = local_day(job.ends_at - timedelta(microseconds=1), there)
    return Window(
        site=job.site,
        job=job.code,
        starts_at=job.starts_at,
        ends_at=job.ends_at,
        first_day=local_day(job.starts_at, there),
        last_day=last,
        units=Units(site.pressure_unit, site.torque_unit),
    )


@dataclass(frozen=True, slots=True)
class Instead:
    """A wrench of the same site that covers the joint with the rest of the kit, and the socket it needs."""

    tag: str
    model: str
    available_nm: float
    socket: str | None


@dataclass(frozen=True, slots=True)
class KitCheck:
    """The verdict on the kit, on each of its items, and what would do when it does not."""

    kit: KitVerdict
    items: tuple[Verdict, ...]
    instead: Instead | None
    hire: str | None

    @property
    def usable(self) -> bool:
        """Whether the kit covers the joint, may be put under pressure, and every item may go out."""
        covered = self.kit.covered is not CoverState.NOT_COVERED
        return covered and not self.kit.stopped and all(verdict.goes_out for verdict in self.items)


def check_kit(
    db: Connection, ids: Sequence[int], joint: JointFacts, window: Window, *, now: datetime
) -> KitCheck:
    """Judge named items as a kit for a joint, each item for the window, and look for what else would do."""
    chosen = pieces(db, ids)
    verdict = judge_kit(kit_of(chosen, window.units), joint)
    wish = _wish(window)
    facts = item_facts(db, ids, now=now)
    items = tuple(judge(facts[item], wish) for item in ids)
    instead = hire = None
    if verdict.covered is CoverState.NOT_COVERED:
        instead = _instead(db, chosen, joint, window, verdict, now=now)
        if instead is None:
            hire = _hire(chosen, joint, verdict, window.units)
    return KitCheck(verdict, items, instead, hire)


def _wish(window: Window) -> Wish:
    return Wish(window.job, window.site, window.first_day, window.last_day)


_FREE = (
    ItemRow.retired_on.is_(None),
    ~exists().where(HoldRow.item_id == ItemRow.id, HoldRow.released_at.is_(None)),
    ~exists().where(LoanLineRow.item_id == ItemRow.id, LoanLineRow.returned_at.is_(None)),
    ~exists().where(
        ReservationRow.item_id == ItemRow.id,
        ReservationRow.ended_at.is_(None),
        ReservationRow.starts_at < bindparam("ends_at", type_=ReservationRow.starts_at.type),
        ReservationRow.ends_at > bindparam("starts_at", type_=ReservationRow.ends_at.type),
    ),
)
_TOP = (
    select(func.max(ChartPointRow.torque_nm))
    .join(ChartRow, ChartRow.id == ChartPointRow.chart_id)
    .where(
        ChartRow.replaced_at.is_(None),
        ChartRow.model_id == ItemRow.model_id,
        or_(ChartRow.item_id.is_(None), ChartRow.item_id == ItemRow.id),
    )
    .scalar_subquery()
)
_WRENCHES = (
    select(ItemRow.id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .where(
        ModelRow.kind == Kind.WRENCH,
        SiteRow.code == bindparam("site"),
        bindparam("needed_nm") <= _TOP,
        *_FREE,
    )
    .order_by(_TOP, ItemRow.tag)
    .limit(MOST_TRIED)
)
_SOCKETS = (
    select(ItemRow.id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .where(
        ModelRow.kind == Kind.SOCKET,
        SiteRow.code == bindparam("site"),
        and_(
            ModelRow.drive_mm.between(
                bindparam("drive_mm") - FIT_TOLERANCE_MM, bindparam("drive_mm") + FIT_TOLERANCE_MM
            ),
            ModelRow.across_flats_mm.between(
                bindparam("flats_mm") - FIT_TOLERANCE_MM, bindparam("flats_mm") + FIT_TOLERANCE_MM
            ),
        ),
        *_FREE,
    )
    .order_by(ItemRow.tag)
    .limit(1)
)


def _instead(
    db: Connection,
    chosen: Sequence[Piece],
    joint: JointFacts,
    window: Window,
    verdict: KitVerdict,
    *,
    now: datetime,
) -> Instead | None:
    """The smallest wrench of the site that may go out and covers the joint with the rest of this kit."""
    times = {"site": window.site, "starts_at": window.starts_at, "ends_at": window.ends_at}
    ids = db.execute(_WRENCHES, times | {"needed_nm": verdict.need.needed_nm}).scalars().all()
    facts = item_facts(db, ids, now=now)
    wish = _wish(window)
    candidates = pieces(db, (item for item in ids if judge(facts[item], wish).goes_out))
    rest = [piece for piece in chosen if piece.kind not in (Kind.WRENCH, Kind.SOCKET)]
    offers: dict[str, tuple[WrenchOffer, Instead]] = {}
    for wrench in candidates:
        socket = None if wrench.linked else _socket(db, wrench, joint, times)
        tried = judge_kit(kit_of([*rest, wrench, *([socket] if socket else [])], window.units), joint)
        if tried.available_nm is None or any(f.severity is Severity.HARD for f in tried.findings):
            continue
        answer = Instead(wrench.tag, wrench.model, tried.available_nm, socket.tag if socket else None)
        offers[wrench.tag] = WrenchOffer(wrench.tag, tried.available_nm), answer
    best = smallest_cover((offer for offer, _ in offers.values()), verdict.need)
    return offers[best.tag][1] if best else None


def _socket(db: Connection, wrench: Piece, joint: JointFacts, times: dict[str, object]) -> Piece | None:
    asked = times | {"drive_mm": wrench.drive_mm, "flats_mm": joint.across_flats_mm}
    if wrench.drive_mm is None or joint.across_flats_mm is None:
        return None
    return next(iter(pieces(db, db.execute(_SOCKETS, asked).scalars())), None)


def _hire(chosen: Sequence[Piece], joint: JointFacts, verdict: KitVerdict, units: Units) -> str:
    wrench = next((piece for piece in chosen if piece.kind == Kind.WRENCH), None)
    at_mpa = verdict.available.pressure_mpa if verdict.available else CLASS_MPA
    linked = wrench is not None and wrench.linked
    return what_to_hire(
        verdict.need,
        at_mpa,
        drive_mm=wrench.drive_mm if wrench and not linked else None,
        link_mm=joint.across_flats_mm if linked else None,
        units=units,
    )
