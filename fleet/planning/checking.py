"""Are the facts of a plan sound? What contradicts itself is refused before anything is worked out."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from typing import TYPE_CHECKING

from fleet.bolting.figures import exceeds, known
from fleet.bolting.parts import Kind
from fleet.measures.times import start_of_day
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, datetime
    from zoneinfo import ZoneInfo

    from fleet.planning.facts import Kit, Limits, Part, PlanFacts, PoolPiece, Work, Wrench


def check_limits(limits: Limits) -> None:
    """Refuse limits that no search can keep; raises NotPossible."""
    if limits.start_grid <= timedelta(0):
        raise NotPossible(
            "The step between start times must be longer than nothing; give one such as 4 hours."
        )
    if not limits.seconds > 0 or limits.threads < 1:
        raise NotPossible("A plan needs some time and one thread at least; give both as numbers above zero.")


def check_facts(facts: PlanFacts) -> None:
    """Refuse facts that contradict themselves; raises NotPossible with the first contradiction."""
    _once("work", (work.key for work in facts.works))
    pieces: tuple[Wrench | PoolPiece, ...] = (*facts.wrenches, *facts.pool_pieces)
    _once("piece", (piece.tag for piece in pieces))
    for work in facts.works:
        _check_work(work)
    for piece in pieces:
        _check_piece(piece)
    _check_kept(facts)


def usable_until(due_on: date, zone: ZoneInfo) -> datetime:
    """Answer the instant from which a piece may not be used: the end of the day on which it falls due."""
    return start_of_day(due_on + timedelta(days=1), zone)


def _once(what: str, names: Iterable[str]) -> None:
    twice = next((name for name, count in Counter(names).items() if count > 1), None)
    if twice is not None:
        raise NotPossible(f"The {what} {twice} is listed more than once; list it once.")


def _check_work(work: Work) -> None:
    if work.earliest_start_at.tzinfo is None or work.latest_end_at.tzinfo is None:
        raise NotPossible(f"The times of {work.key} say no time zone; give them with one.")
    if work.latest_end_at <= work.earliest_start_at:
        raise NotPossible(f"The window of {work.key} ends before it starts; correct its start or its end.")
    if work.duration <= timedelta(0):
        raise NotPossible(f"{work.key} takes no time at all; give it a duration.")
    if work.duration > work.latest_end_at - work.earliest_start_at:
        raise NotPossible(f"{work.key} takes longer than its window; widen the window or shorten the work.")
    if not known(work.needed_nm):
        raise NotPossible(
            f"The torque that {work.key} needs is not a torque above zero; write what it needs."
        )
    if work.kits < 1:
        raise NotPossible(f"{work.key} asks for {work.kits} kits; it needs one at least.")


def _check_piece(piece: Wrench | PoolPiece) -> None:
    for busy in piece.busy:
        if busy.starts_at.tzinfo is None or busy.ends_at.tzinfo is None:
            raise NotPossible(f"A reservation of {piece.tag} says no time zone; give its times with one.")
        if busy.ends_at <= busy.starts_at:
            raise NotPossible(
                f"A reservation of {piece.tag} ends before it starts; correct its start or its end."
            )


def _check_kept(facts: PlanFacts) -> None:
    """A kept part must still hold: it is not mended, and not dropped without a word."""
    works = {work.key: work for work in facts.works}
    pieces: dict[str, Wrench | PoolPiece] = {piece.tag: piece for piece in facts.pool_pieces}
    pieces |= {wrench.tag: wrench for wrench in facts.wrenches}
    wrenches = {wrench.tag: wrench for wrench in facts.wrenches}
    _once("kept part", (part.work for part in facts.kept))
    taken: dict[str, list[Part]] = {}
    for part in facts.kept:
        work = works.get(part.work)
        if work is None:
            raise _gone(part, "it is not among the works")
        _check_times(part, work)
        for kit in part.kits:
            _check_kit(part, work, kit, wrenches, pieces)
        for tag in (tag for kit in part.kits for tag in _tags(kit)):
            _check_free(part, pieces[tag], facts.zone)
            if any(
                part.starts_at < other.ends_at and other.starts_at < part.ends_at
                for other in taken.get(tag, [])
            ):
                raise _gone(part, f"{tag} is kept for something else at that time")
            taken.setdefault(tag, []).append(part)


def _check_times(part: Part, work: Work) -> None:
    if part.starts_at < work.earliest_start_at or work.latest_end_at < part.ends_at:
        raise _gone(part, "it lies outside the window of its work")
    if part.ends_at - part.starts_at != work.duration:
        raise _gone(part, "its work now takes another time")
    if len(part.kits) != work.kits:
        raise _gone(part, f"its work now needs {work.kits} kits")


def _check_kit(
    part: Part, work: Work, kit: Kit, wrenches: dict[str, Wrench], pieces: dict[str, Wrench | PoolPiece]
) -> None:
    wrench = wrenches.get(kit.wrench)
    if wrench is None:
        raise _gone(part, f"{kit.wrench} is not among the wrenches")
    if wrench.drive not in work.drives or exceeds(work.needed_nm, wrench.gives_nm):
        raise _gone(part, f"{wrench.tag} no longer does for it")
    asked = ((Kind.PUMP, kit.pump, wrench.pump_pool), (Kind.GAUGE, kit.gauge, wrench.gauge_pool))
    for kind, tag, pool in asked:
        if tag is None and pool is None:
            continue
        piece = pieces.get(tag) if tag is not None else None
        # A wrench has no pool of its own kind, so a wrench in the place of a pump is caught here too.
        if piece is None or (getattr(piece, "kind", None), getattr(piece, "pool", None)) != (kind, pool):
            raise _gone(part, f"its {kind} does not go with {wrench.tag}")


def _check_free(part: Part, piece: Wrench | PoolPiece, zone: ZoneInfo) -> None:
    if piece.due_on is not None and usable_until(piece.due_on, zone) < part.ends_at:
        raise _gone(part, f"{piece.tag} falls due before it ends")
    if any(part.starts_at < busy.ends_at and busy.starts_at < part.ends_at for busy in piece.busy):
        raise _gone(part, f"{piece.tag} is reserved for something else at that time")


def _tags(kit: Kit) -> tuple[str, ...]:
    return (kit.wrench, kit.pump) if kit.gauge is None else (kit.wrench, kit.pump, kit.gauge)


def _gone(part: Part, why: str) -> NotPossible:
    return NotPossible(f"The part for {part.work} cannot be kept: {why}. Leave it out of what is kept.")
