"""Is a plan right? Checked piece by piece against the facts, with nothing of the planner's own reckoning."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from itertools import combinations, permutations, product
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from zoneinfo import ZoneInfo

    from fleet.planning.answers import Plan
    from fleet.planning.facts import Kit, Part, PlanFacts, PoolPiece, Work, Wrench


def faults(plan: Plan, facts: PlanFacts) -> list[str]:
    """Everything that is wrong with a plan; nothing when it can be carried out and counts itself right."""
    works = {work.key: work for work in facts.works}
    found = [
        f"{part.work}: {fault}"
        for part in plan.parts
        for fault in _part_faults(part, works[part.work], facts)
    ]
    found += [f"{one.work} and {two.work} share a piece" for one, two in _clashes(plan.parts)]
    served = [part.work for part in plan.parts]
    unserved = [one.work for one in plan.unserved]
    if sorted([*served, *unserved]) != sorted(works):
        found.append("not every work is either served or unserved, once")
    found += [f"the kept part for {part.work} was changed" for part in facts.kept if part not in plan.parts]
    kits = [(part, kit) for part in plan.parts for kit in part.kits]
    gives = {wrench.tag: wrench.gives_nm for wrench in facts.wrenches}
    oversize = sum(max(0, round(gives[kit.wrench] - works[part.work].needed_nm)) for part, kit in kits)
    counted = len(unserved), len({kit.wrench for _, kit in kits}), oversize
    if counted != (plan.score.unserved, plan.score.kits, plan.score.oversize_nm):
        found.append(f"counted {counted}, told {plan.score}")
    return found


def _part_faults(part: Part, work: Work, facts: PlanFacts) -> Iterator[str]:
    wrenches = {wrench.tag: wrench for wrench in facts.wrenches}
    others = {piece.tag: piece for piece in facts.pool_pieces}
    if part.starts_at < work.earliest_start_at or part.ends_at > work.latest_end_at:
        yield "outside its window"
    if part.ends_at - part.starts_at != work.duration:
        yield "not as long as it takes"
    if len(part.kits) != work.kits:
        yield f"{len(part.kits)} kits instead of {work.kits}"
    for kit in part.kits:
        yield from _kit_faults(kit, work, wrenches[kit.wrench], others)
        for tag in tags(kit):
            if not may_work(wrenches.get(tag) or others[tag], part.starts_at, part.ends_at, facts.zone):
                yield f"{tag} may not be used then"


def _kit_faults(kit: Kit, work: Work, wrench: Wrench, others: dict[str, PoolPiece]) -> Iterator[str]:
    if wrench.drive not in work.drives:
        yield f"{kit.wrench} does not fit"
    if wrench.gives_nm < work.needed_nm:
        yield f"{kit.wrench} is too weak"
    if others[kit.pump].kind != "pump" or others[kit.pump].pool != wrench.pump_pool:
        yield f"{kit.pump} does not go with {kit.wrench}"
    gauge = None if kit.gauge is None else others[kit.gauge]
    if (gauge.pool if gauge else None) != wrench.gauge_pool or (gauge and gauge.kind != "gauge"):
        yield f"{kit.gauge} does not go with {kit.wrench}"


def may_work(piece: Wrench | PoolPiece, starts_at: datetime, ends_at: datetime, zone: ZoneInfo) -> bool:
    """Whether a piece is in date and not reserved all through a time."""
    if piece.due_on is not None:
        midnight = datetime.combine(piece.due_on + timedelta(days=1), time(), zone).astimezone(UTC)
        if ends_at.astimezone(UTC) > midnight:
            return False
    return not any(busy.starts_at < ends_at and starts_at < busy.ends_at for busy in piece.busy)


def tags(kit: Kit) -> list[str]:
    """The pieces of a kit."""
    return [tag for tag in (kit.wrench, kit.pump, kit.gauge) if tag is not None]


def _clashes(parts: tuple[Part, ...]) -> Iterator[tuple[Part, Part]]:
    for one in parts:
        own = [tag for kit in one.kits for tag in tags(kit)]
        if len(own) != len(set(own)):
            yield one, one
    for one, two in combinations(parts, 2):
        shared = {tag for kit in one.kits for tag in tags(kit)} & {
            tag for kit in two.kits for tag in tags(kit)
        }
        if shared and one.starts_at < two.ends_at and two.starts_at < one.ends_at:
            yield one, two


# --- The best there is, by trying everything ----------------------------------------------------------------


_Taken = tuple[datetime, datetime, str]


def best_by_trying(facts: PlanFacts, start_grid: timedelta) -> tuple[int, int, int]:
    """The least (unserved, kits, oversize) over every choice of single pieces and times on the grid."""
    works = {work.key: work for work in facts.works}
    gives = {wrench.tag: wrench.gives_nm for wrench in facts.wrenches}
    taken = [
        (part.starts_at, part.ends_at, tag) for part in facts.kept for kit in part.kits for tag in tags(kit)
    ]
    used = {kit.wrench for part in facts.kept for kit in part.kits}
    over = sum(
        max(0, round(gives[kit.wrench] - works[part.work].needed_nm))
        for part in facts.kept
        for kit in part.kits
    )
    kept = {part.work for part in facts.kept}
    rest = [work for work in facts.works if work.key not in kept]
    options = [list(_options(work, facts, start_grid)) for work in rest]
    best = (len(rest) + 1, 0, 0)

    def go(
        place: int,
        unserved: int,
        used: frozenset[str],
        over: int,
        taken: list[tuple[datetime, datetime, str]],
    ) -> None:
        nonlocal best
        if (unserved, len(used), over) >= best:
            return
        if place == len(rest):
            best = unserved, len(used), over
            return
        for starts_at, ends_at, pieces, wrenches, extra in options[place]:
            if all(not (tag in pieces and s < ends_at and starts_at < e) for s, e, tag in taken):
                more = [(starts_at, ends_at, tag) for tag in pieces]
                go(place + 1, unserved, used | wrenches, over + extra, taken + more)
        go(place + 1, unserved + 1, used, over, taken)

    go(0, 0, frozenset(used), over, taken)
    return best


def _options(
    work: Work, facts: PlanFacts, start_grid: timedelta
) -> Iterator[tuple[datetime, datetime, frozenset[str], frozenset[str], int]]:
    starts_at = work.earliest_start_at
    while starts_at + work.duration <= work.latest_end_at:
        ends_at = starts_at + work.duration
        free = [
            wrench
            for wrench in facts.wrenches
            if wrench.drive in work.drives
            and wrench.gives_nm >= work.needed_nm
            and may_work(wrench, starts_at, ends_at, facts.zone)
        ]
        others = [piece for piece in facts.pool_pieces if may_work(piece, starts_at, ends_at, facts.zone)]
        seen = set()
        for chosen in combinations(free, work.kits):
            extra = sum(max(0, round(wrench.gives_nm - work.needed_nm)) for wrench in chosen)
            for pieces in _with_pumps_and_gauges(list(chosen), others):
                if pieces not in seen:
                    seen.add(pieces)
                    yield starts_at, ends_at, pieces, frozenset(wrench.tag for wrench in chosen), extra
        starts_at += start_grid


def _with_pumps_and_gauges(wrenches: list[Wrench], others: list[PoolPiece]) -> Iterator[frozenset[str]]:
    pumps = [piece for piece in others if piece.kind == "pump"]
    gauges = [piece for piece in others if piece.kind == "gauge"]
    wanting = [wrench for wrench in wrenches if wrench.gauge_pool is not None]
    for some_pumps, some_gauges in product(
        permutations(pumps, len(wrenches)), permutations(gauges, len(wanting))
    ):
        pumps_go = all(w.pump_pool == p.pool for w, p in zip(wrenches, some_pumps, strict=True))
        if pumps_go and all(w.gauge_pool == g.pool for w, g in zip(wanting, some_gauges, strict=True)):
            yield frozenset([*(w.tag for w in wrenches), *(p.tag for p in (*some_pumps, *some_gauges))])
