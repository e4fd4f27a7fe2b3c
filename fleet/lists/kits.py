"""Does this kit do for this joint; and if not, what in the room would."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import and_, bindparam, exists, select

from fleet.bolting.figures import FLOAT_NOISE, Units
from fleet.bolting.findings import Severity
from fleet.bolting.loosening import CoverState
from fleet.bolting.parts import Kind
from fleet.lists.items import item_facts
from fleet.lists.pairs import paired_gauge
from fleet.lists.parts import Piece, kit_of, pieces
from fleet.lists.sites import find_site
from fleet.measures.times import local_day, zone
from fleet.records import (
    HoldRow,
    ItemRow,
    JobRow,
    ModelRow,
    ReservationRow,
    SiteRow,
)
from fleet.rules.kits import JointFacts, KitVerdict, WrenchOffer, judge_kit, smallest_cover, what_to_hire
from fleet.rules.loans import Verdict, Wish, judge
from fleet.rules.pairs import pair_findings
from fleet.rules.sockets import FIT_TOLERANCE_MM

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from datetime import date, datetime

    from sqlalchemy import Select
    from sqlalchemy.engine import Connection

    from fleet.bolting.findings import Finding
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


def window_of(job: JobLine, site: SiteLine, times: tuple[datetime, datetime] | None = None) -> Window:
    """The job's own window, or a part of it; its last day is the one in which it ends."""
    there, (starts_at, ends_at) = zone(job.time_zone), times or (job.starts_at, job.ends_at)
    last = local_day(ends_at - timedelta(microseconds=1), there)
    return Window(
        site=job.site,
        job=job.code,
        starts_at=starts_at,
        ends_at=ends_at,
        first_day=local_day(starts_at, there),
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
    first: str | None
    """What in the rest of the kit must be put right before any other wrench would help."""

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
    verdict = _with_pairs(db, chosen, judge_kit(kit_of(chosen, window.units), joint))
    search = _Search(db, joint, window, now, find_site(db, window.site).today(now))
    items = search.verdicts(ids)
    if verdict.covered is not CoverState.NOT_COVERED:
        return KitCheck(verdict, items, None, None, None)
    instead, first = search.instead(chosen, verdict)
    hire = None if instead or first else _hire(chosen, joint, verdict, window.units)
    return KitCheck(verdict, items, instead, hire, first)


def _with_pairs(db: Connection, chosen: Sequence[Piece], verdict: KitVerdict) -> KitVerdict:
    """The verdict with a note for each wrench whose certificate names another gauge; notes stand last."""
    gauges = [piece.part.label for piece in chosen if piece.kind == Kind.GAUGE]
    notes = [
        note
        for piece in chosen
        if piece.kind == Kind.WRENCH
        for note in pair_findings(piece.part.label, paired_gauge(db, piece.id), gauges)
    ]
    return replace(verdict, findings=(*verdict.findings, *notes))


_FREE = (
    ItemRow.retired_on.is_(None),
    ~exists().where(HoldRow.item_id == ItemRow.id, HoldRow.released_at.is_(None)),
    ~exists().where(
        ReservationRow.item_id == ItemRow.id,
        ReservationRow.ended_at.is_(None),
        # What is kept for this very job may be used for it.
        ReservationRow.job_id == JobRow.id,
        JobRow.code != bindparam("job"),
        ReservationRow.starts_at < bindparam("ends_at", type_=ReservationRow.starts_at.type),
        ReservationRow.ends_at > bindparam("starts_at", type_=ReservationRow.ends_at.type),
    ),
)
_WRENCHES = (
    select(ItemRow.id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .where(
        ModelRow.kind == Kind.WRENCH,
        SiteRow.code == bindparam("site"),
        ItemRow.strength >= bindparam("needed_nm") * (1 - FLOAT_NOISE),
        *_FREE,
    )
    .order_by(ItemRow.strength, ItemRow.tag)
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
    .limit(MOST_TRIED)
)


@dataclass(frozen=True, slots=True)
class _Search:
    """What is looked for: pieces of the site that may go out for the joint and the window."""

    db: Connection
    joint: JointFacts
    window: Window
    now: datetime
    today: date

    def verdicts(self, ids: Sequence[int]) -> tuple[Verdict, ...]:
        """Judge each item for the window, or for what is left of it."""
        window, begins = self.window, max(self.window.starts_at, self.now)
        first_day = max(window.first_day, self.today)
        wish = Wish(window.job, window.site, first_day, window.last_day, asked_on=self.today)
        facts = item_facts(self.db, ids, now=self.now)
        # A concession that ends before the window begins covers nothing in it.
        lasting = {one: tuple(w for w in found.waived if w.until > begins) for one, found in facts.items()}
        return tuple(judge(replace(facts[item], waived=lasting[item]), wish) for item in ids)

    def may_go_out(self, statement: Select[int], **asked: object) -> list[Piece]:
        """The pieces that the statement finds, without those that stay in."""
        window = self.window
        times = {"starts_at": window.starts_at, "ends_at": window.ends_at}
        given = {"site": window.site, "job": window.job} | times | asked
        ids = self.db.execute(statement, given).scalars().all()
        judged = zip(ids, self.verdicts(ids), strict=True)
        return pieces(self.db, [item for item, verdict in judged if verdict.goes_out])

    def instead(self, chosen: Sequence[Piece], verdict: KitVerdict) -> tuple[Instead | None, str | None]:
        """The smallest wrench that covers the joint with the rest of this kit; else what stands in the way.

        The second answer is what would stop every wrench that was tried.
        """
        rest = [piece for piece in chosen if piece.kind not in (Kind.WRENCH, Kind.SOCKET)]
        own_sockets = [piece for piece in chosen if piece.kind == Kind.SOCKET]
        bad_before = {finding.code for finding in verdict.findings if finding.severity is Severity.SOFT}
        offers: dict[str, tuple[WrenchOffer, Instead]] = {}
        in_the_way: list[set[str]] = []
        sockets: dict[float, Piece | None] = {}
        for wrench in self.may_go_out(_WRENCHES, needed_nm=verdict.need.needed_nm):
            if wrench.drive_mm is not None and wrench.drive_mm not in sockets:
                sockets[wrench.drive_mm] = self._socket(wrench.drive_mm, own_sockets)
            socket = None if wrench.linked or wrench.drive_mm is None else sockets[wrench.drive_mm]
            kit = [*rest, wrench, *([socket] if socket else [])]
            tried = judge_kit(kit_of(kit, self.window.units), self.joint)
            stops = [found for found in tried.findings if _stops(found, bad_before)]
            if not stops and tried.available_nm is not None:
                tag = socket.tag if socket else None
                answer = Instead(wrench.tag, wrench.model, tried.available_nm, tag)
                offers[wrench.tag] = WrenchOffer(wrench.tag, tried.available_nm), answer
            others = {piece.part.label for piece in rest}
            in_the_way.append({found.sentence for found in stops if found.about in others})
        best = smallest_cover((offer for offer, _ in offers.values()), verdict.need)
        always = set.intersection(*in_the_way) if in_the_way else set()
        return (offers[best.tag][1] if best else None), min(always, default=None)

    def _socket(self, drive_mm: float, own: Sequence[Piece]) -> Piece | None:
        """The kit's own socket where it fits both drive and nut, or one of the site."""
        flats_mm = self.joint.across_flats_mm
        if flats_mm is None:
            return None
        for one in own:
            if _fits(one.drive_mm, drive_mm) and _fits(one.across_flats_mm, flats_mm):
                return one
        return next(iter(self.may_go_out(_SOCKETS, drive_mm=drive_mm, flats_mm=flats_mm)), None)


def _fits(ours_mm: float | None, theirs_mm: float) -> bool:
    return ours_mm is not None and abs(ours_mm - theirs_mm) <= FIT_TOLERANCE_MM


def _stops(found: Finding, before: Collection[str]) -> bool:
    """Whether a finding speaks against a wrench; what already spoke against the kit as it was does not."""
    return found.severity is Severity.HARD or (found.severity is Severity.SOFT and found.code not in before)


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
