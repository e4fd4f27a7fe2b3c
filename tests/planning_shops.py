"""Shutdowns small enough to try everything."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from fleet.bolting.parts import Kind
from fleet.planning.facts import Busy, PlanFacts, PoolPiece, Work, Wrench

ZONE = ZoneInfo("Europe/Oslo")
MONDAY = datetime(2026, 5, 4, tzinfo=ZONE).astimezone(UTC)
HOUR = timedelta(hours=1)
GRID = timedelta(hours=4)
DRIVES = ("1 in", "1 1/2 in")


def at(hours: float) -> datetime:
    return MONDAY + hours * HOUR


@st.composite
def spans(draw: st.DrawFn) -> Busy:
    begin = draw(st.integers(0, 60))
    return Busy(at(begin), at(begin + draw(st.integers(1, 30))))


# Drawn from lists and not from ranges, whose least values come up far too often for anything to be served.
DUE = st.sampled_from(
    [None, None, None, date(2026, 5, 5), date(2026, 5, 6), date(2026, 5, 7), date(2026, 5, 3)]
)
BUSY = st.sampled_from([0, 0, 1, 2]).flatmap(lambda n: st.tuples(*[spans()] * n))


@st.composite
def works(draw: st.DrawFn, number: int, *, slack: bool) -> Work:
    begin, lasts = draw(st.integers(0, 40)), draw(st.sampled_from([1, 6, 9, 14, 20, 30]))
    spare = draw(st.integers(0, 9)) if slack else 0
    return Work(
        key=f"J-{number}",
        drives=draw(st.sampled_from([DRIVES[:1], DRIVES[:1], DRIVES[1:], DRIVES])),
        needed_nm=draw(st.sampled_from([800.0, 900.0, 1500.5, 2500.0])),
        earliest_start_at=at(begin),
        latest_end_at=at(begin + lasts + spare),
        duration=lasts * HOUR,
        kits=draw(st.sampled_from([1, 1, 1, 2])),
    )


@st.composite
def shops(draw: st.DrawFn, *, slack: bool = True, most_works: int = 4, gaps: bool = True) -> PlanFacts:
    """A shutdown small enough to try everything."""
    busy = BUSY if gaps else st.just(())
    gauges_apart = draw(st.booleans())
    wrenches = [
        Wrench(
            tag=f"W-{number}",
            drive=draw(st.sampled_from((*DRIVES, DRIVES[0]))),
            gives_nm=draw(st.sampled_from([1000.0, 2000.0, 3000.0])),
            pump_pool=draw(st.sampled_from("AAB")),
            gauge_pool="G" if gauges_apart else None,
            due_on=draw(DUE),
            busy=draw(busy),
        )
        for number in range(draw(st.sampled_from([4, 3, 2, 1, 0])))
    ]
    pieces = [
        PoolPiece(f"P-{number}", Kind.PUMP, draw(st.sampled_from("AAB")), draw(DUE), draw(busy))
        for number in range(draw(st.sampled_from([3, 2, 1, 0])))
    ]
    if gauges_apart:
        pieces += [
            PoolPiece(f"G-{number}", Kind.GAUGE, "G", draw(DUE), draw(busy))
            for number in range(draw(st.sampled_from([3, 2, 1])))
        ]
    wanted = [
        draw(works(number, slack=slack))
        for number in range(draw(st.sampled_from([*range(most_works, -1, -1)])))
    ]
    return PlanFacts(ZONE, tuple(wanted), tuple(wrenches), tuple(pieces))


def chance_shop(seed: int) -> PlanFacts:
    """A crowded shutdown by plain chance: most of its works can be served, and not all of them."""
    luck = random.Random(seed)  # noqa: S311  invented works
    wanted = []
    for number in range(luck.randint(3, 5)):
        begin, lasts, spare = luck.randint(0, 24), luck.randint(4, 24), luck.choice([0, 0, 4, 9])
        drives = luck.choice([DRIVES[:1], DRIVES[:1], DRIVES[1:], DRIVES])
        times = at(begin), at(begin + lasts + spare), lasts * HOUR
        needed_nm = luck.choice([800.0, 950.5, 1500.0])
        wanted.append(Work(f"J-{number}", drives, needed_nm, *times, luck.choice([1, 1, 1, 1, 2])))
    own = [
        Wrench(
            f"W-{number}",
            DRIVES[number % 2],
            luck.choice([1000.0, 2000.0]),
            "A" if number < 2 else luck.choice("AB"),
            "G",
            *_chance(luck),
        )
        for number in range(luck.randint(2, 4))
    ]
    pieces = [
        PoolPiece(f"{kind}-{number}", kind, pool, *_chance(luck))
        for kind, pool, most in ((Kind.PUMP, "A", 3), (Kind.PUMP, "B", 1), (Kind.GAUGE, "G", 3))
        for number in range(luck.randint(1, most))
    ]
    named = [replace(piece, tag=f"{piece.tag}{piece.pool}") for piece in pieces]
    return PlanFacts(ZONE, tuple(wanted), tuple(own), tuple(named))


def _chance(luck: random.Random) -> tuple[date | None, tuple[Busy, ...]]:
    due_on = luck.choice([None, None, None, date(2026, 5, 4), date(2026, 5, 5)])
    begin = luck.randint(0, 40)
    return due_on, luck.choice([(), (), (Busy(at(begin), at(begin + luck.randint(1, 8))),)])
