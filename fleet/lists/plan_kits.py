"""A solver's plan made into whole kits: each wrench, pump and gauge gets its hose, couplers and socket."""

from __future__ import annotations

from collections import defaultdict
from datetime import timedelta
from itertools import islice
from typing import TYPE_CHECKING

from fleet.bolting.figures import exceeds
from fleet.bolting.findings import Severity
from fleet.bolting.loosening import CoverState
from fleet.bolting.parts import Kind
from fleet.lists.parts import kit_of
from fleet.lists.plan_facts import socket_fits
from fleet.measures.times import local_day, show_day, start_of_day, zone
from fleet.planning.facts import Kit
from fleet.rules.kits import judge_kit
from fleet.rules.plans import NotServed, PlannedKit, PlannedPart, ScoreLine, SitePlan, StageLine
from fleet.rules.sockets import in_both

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from datetime import date, datetime

    from fleet.lists.parts import Piece
    from fleet.lists.plan_facts import Ground, PlannedJoint
    from fleet.lists.plan_stock import Usable
    from fleet.planning.answers import Hire, Plan, Score, Unserved
    from fleet.planning.facts import Part

# How many gauges are tried where the planned one is too coarse for the joint's tolerance.
GAUGES_TRIED = 20


def complete(ground: Ground, plan: Plan) -> SitePlan:
    """The site's plan with whole kits; a joint for which one cannot be completed goes unserved, and why."""
    bench = _Bench(ground, plan.parts)
    parts, failed = [], []
    for part in plan.parts:
        kits, why = bench.complete(part)
        one = ground.joints[part.work]
        if why:
            failed.append(NotServed(one.job.code, one.joint.mark, why))
        else:
            parts.append(PlannedPart(one.job.code, one.joint.mark, part.starts_at, part.ends_at, tuple(kits)))
    unserved = [_unserved(ground.joints[one.work], one) for one in plan.unserved]
    stages = tuple(StageLine(s.aim.value, s.value, s.bound, s.proven) for s in plan.stages)
    return SitePlan(
        site=ground.site.code,
        time_zone=ground.site.time_zone,
        parts=tuple(parts),
        unserved=(*unserved, *failed),
        left_out=ground.left_out,
        kept=ground.kept,
        aside=ground.aside,
        hires=tuple(_hire(ground, one) for one in plan.hires),
        stages=stages,
        score=_reached(ground, parts, len(unserved) + len(failed)),
        first_come=_score(plan.first_come),
        stopped=plan.stopped,
    )


def _reached(ground: Ground, parts: Sequence[PlannedPart], unserved: int) -> ScoreLine:
    """What the whole kits come to; where another wrench was taken, this is not what was searched for."""
    kits = [(f"{part.job} {part.joint}", kit.wrench) for part in parts for kit in part.kits]
    above = (ground.power[tag].gives_nm - ground.joints[key].work.needed_nm for key, tag in kits)
    return ScoreLine(unserved, len({tag for _, tag in kits}), sum(map(round, above)))


def _score(score: Score) -> ScoreLine:
    return ScoreLine(score.unserved, score.kits, score.oversize_nm)


def _unserved(one: PlannedJoint, found: Unserved) -> NotServed:
    short = {"wrench": found.wrenches_short, "pump": found.pumps_short, "gauge": found.gauges_short}
    plural = {"wrench": "wrenches", "pump": "pumps", "gauge": "gauges"}
    hired = [f"{n} {kind if n == 1 else plural[kind]}" for kind, n in short.items() if n]
    told = f" Short of {', '.join(hired)}." if hired else ""
    return NotServed(one.job.code, one.joint.mark, f"{found.shortage.value.capitalize()}.{told}")


def _hire(ground: Ground, hire: Hire) -> str:
    days = f"{show_day(hire.first_day)} to {show_day(hire.last_day)}"
    what = f"{hire.count} × {hire.kind}"
    if hire.kind is Kind.WRENCH:
        strength = f", at least {ground.units.at_least(hire.at_least_nm)}" if hire.at_least_nm else ""
        return f"{what}, {(hire.drive or '').partition(' | ')[0]}{strength}, {days}"
    pool = hire.pump_pool if hire.kind is Kind.PUMP else hire.gauge_pool
    return f"{what}, {pool or 'to suit the wrench'}, {days}"


class _Bench:
    """The pieces that complete kits, and when this plan has them already."""

    def __init__(self, ground: Ground, parts: Sequence[Part]) -> None:
        self.ground = ground
        self.there = zone(ground.site.time_zone)
        self.by_tag = {one.piece.tag: one for one in ground.stock.usable}
        self.by_model: defaultdict[str, list[Usable]] = defaultdict(list)
        for one in ground.stock.usable:
            self.by_model[one.piece.model].append(one)
        self.sockets = [one for one in ground.stock.usable if one.piece.kind == Kind.SOCKET]
        self.wrenches = sorted(ground.facts.wrenches, key=lambda one: (one.gives_nm, one.tag))
        self.taken: defaultdict[str, list[Part]] = defaultdict(list)
        for part in parts:
            for kit in part.kits:
                self._take(part, _machines(kit))

    def complete(self, part: Part) -> tuple[list[PlannedKit], str | None]:
        """The whole kits of a part, or why one of them cannot be completed; then nothing stays taken.

        Where hose, coupler or socket is missing for the planned wrench, another free one is tried.
        """
        kits: list[PlannedKit] = []
        for kit in part.kits:
            self._give_back(part, _machines(kit))
        for kit in part.kits:
            given = {tag for done in kits for tag in done.tags}
            found, why = (None, "") if given & {*_machines(kit)} else self._one(part, kit)
            if found is None:
                tries = (self._one(part, other)[0] for other in self._others(part))
                found = next(filter(None, tries), None)
            if found is None:
                for done in kits:
                    self._give_back(part, done.tags)
                return [], why
            kits.append(found)
            self._take(part, found.tags)
        return kits, None

    def _take(self, part: Part, tags: Iterable[str]) -> None:
        for tag in tags:
            self.taken[tag].append(part)

    def _give_back(self, part: Part, tags: Iterable[str]) -> None:
        for tag in tags:
            self.taken[tag].remove(part)

    def _free(self, one: Usable, part: Part) -> bool:
        """Whether the room and this plan leave the piece free for the part."""
        first, last, ends_at = self._days(part)
        taken = any(self._clash(part, other) for other in self.taken[one.piece.tag])
        return not taken and one.free(first, ends_at, last)

    def _clash(self, part: Part, other: Part) -> bool:
        """Within a job things change hands at once; from one job to another not within a day."""
        if self.ground.joints[part.work].job == self.ground.joints[other.work].job:
            return other.starts_at < part.ends_at and part.starts_at < other.ends_at
        (first, _, ends), (begins, _, until) = self._days(part), self._days(other)
        return begins < ends and first < until

    def _days(self, part: Part) -> tuple[datetime, date, datetime]:
        """When the first day of a part begins, its last day, and when that is over."""
        last = local_day(part.ends_at - timedelta(microseconds=1), self.there)
        over = start_of_day(last + timedelta(days=1), self.there)
        return start_of_day(local_day(part.starts_at, self.there), self.there), last, over

    def _others(self, part: Part) -> Iterator[Kit]:
        """Every other wrench that is free and strong enough, the weakest first, with a pump and a gauge."""
        work = self.ground.joints[part.work].work
        for wrench in self.wrenches:
            strong = wrench.drive in work.drives and not exceeds(work.needed_nm, wrench.gives_nm)
            if strong and self._free(self.by_tag[wrench.tag], part):
                pool = self.ground.power[wrench.tag].pool
                pump = self._first((self.by_tag[one.tag] for one in pool.pumps), part)
                gauge = self._first((self.by_tag[one.tag] for one in pool.gauges), part)
                if pump and gauge:
                    yield Kit(wrench.tag, pump[0].tag, gauge[0].tag)

    def _one(self, part: Part, kit: Kit) -> tuple[PlannedKit | None, str]:
        one = self.ground.joints[part.work]
        wrench, pump = self.by_tag[kit.wrench].piece, self.by_tag[kit.pump].piece
        rests, why = self._rests(part, wrench, one)
        for rest in rests:
            for gauge in self._gauges(part, kit):
                pieces = [pump, *rest, wrench, gauge]
                verdict = judge_kit(kit_of(pieces, self.ground.units), one.facts)
                stops = [found for found in verdict.findings if found.severity is not Severity.NOTE]
                if not stops and verdict.covered is not CoverState.NOT_COVERED:
                    tags = tuple(piece.tag for piece in rest)
                    return PlannedKit(wrench.tag, pump.tag, gauge.tag, tags), ""
                why = stops[0].sentence if stops else "The kit does not cover it."
                if not any(found.code == "gauge-too-coarse" for found in stops):
                    break
        return None, why

    def _rests(self, part: Part, wrench: Piece, one: PlannedJoint) -> tuple[list[list[Piece]], str]:
        """Hose, coupler and socket as needed, of each model the first that is free; else what is missing."""
        socket: list[Piece] = []
        if not wrench.linked:
            flats_mm = one.joint.across_flats_mm
            socket = self._first((s for s in self.sockets if socket_fits(s.piece, wrench, flats_mm)), part)
            if not socket:
                return [], f"No socket for {in_both(flats_mm or 0)} is free for its wrench then."
        found = []
        for joining in self.ground.power[wrench.tag].joinings:
            hose = self._first(self.by_model[joining.hose], part)
            coupler = self._first(self.by_model[joining.coupler], part) if joining.coupler else []
            if hose and (coupler or not joining.coupler):
                found.append([*hose, *coupler, *socket])
        return found, "No hose, with the coupler it may need, is free for its wrench then."

    def _first(self, some: Iterable[Usable], part: Part) -> list[Piece]:
        return next(([one.piece] for one in some if self._free(one, part)), [])

    def _gauges(self, part: Part, kit: Kit) -> Iterator[Piece]:
        """The planned gauge, then others that are free, the finest first."""
        planned = self.by_tag[kit.gauge or ""].piece
        yield planned
        pool = self.ground.power[kit.wrench].pool.gauges
        others = sorted((g for g in pool if g.id != planned.id), key=lambda g: (g.graduation_mpa or 0, g.tag))
        free = (gauge for gauge in others if self._free(self.by_tag[gauge.tag], part))
        yield from islice(free, GAUGES_TRIED)


def _machines(kit: Kit) -> tuple[str, ...]:
    return tuple(tag for tag in (kit.wrench, kit.pump, kit.gauge) if tag)
