"""Making a plan of a period, looking at plans, accepting one as reservations, dropping one."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door, new_id
from fleet.commands.printing import Json, print_json, print_line, print_table
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import date, datetime, timedelta

    from fleet.lists.plan_facts import Ground
    from fleet.planning.answers import Progress
    from fleet.rules.plans import SitePlan

Number = Annotated[int, typer.Argument(metavar="PLAN", help="The number of the plan.")]


def register(plan: typer.Typer) -> None:
    """Put the commands of this module on the group of plans."""
    for name, command in (("make", make), ("show", show), ("list", list_all), ("accept", accept)):
        plan.command(name)(command)
    plan.command("drop")(drop)


def make(
    context: typer.Context,
    start: Annotated[str, typer.Option("--from", help="First day of the period.")],
    end: Annotated[str, typer.Option("--to", help="Last day of the period.")],
    site: Annotated[list[str] | None, typer.Option("--site", "-s", help="Site; may be given again.")] = None,
    seconds: Annotated[float, typer.Option("--seconds", help="How long to search at most.")] = 60.0,
    grid: Annotated[str, typer.Option("--grid", help='Step between start times tried: "4 h".')] = "4 h",
    *,
    as_json: Json = False,
) -> None:
    """Plan which kit serves which joint of a period; nothing is reserved until the plan is accepted.

    Fewest joints unserved come first, then fewest kits, then least oversize. What is reserved stays as it is.
    """
    from fleet.commands.planprints import print_plan
    from fleet.desk.plans import propose
    from fleet.lists.plan_facts import gather
    from fleet.lists.plans import find_plan
    from fleet.lists.sites import find_site
    from fleet.measures.times import read_day
    from fleet.planning.loading import load
    from fleet.rules.plans import Draft

    load()
    first, last, step = read_day(start), read_day(end), _step(grid)
    if last < first:
        raise NotPossible("The period ends before it starts; give --from and --to anew.")
    with door(context).look_as() as asking:
        asked: list[str | None] = [*site] if site else [None]
        codes = dict.fromkeys(find_site(asking.db, one).code for one in asked)
        places = [find_site(asking.db, code) for code in codes]
        grounds = [gather(asking.db, place, first, last, now=asking.now) for place in places]
    with until_ctrl_c() as stopped:
        made = [_solve(ground, seconds / len(grounds), step, stopped) for ground in grounds]
    if stopped():
        print_line("Stopped; the best plan found until then is kept.", err=True)
    begins, ends = _period(grounds, first, last)
    draft = Draft(begins, ends, step.total_seconds() / 3600, tuple(made))
    with door(context).act() as sitting:
        number = propose(sitting.db, new_id(), draft, by=sitting.by, now=sitting.now)
        sheet = find_plan(sitting.db, number)
    return print_json(sheet) if as_json else print_plan(sheet)


def _step(grid: str) -> timedelta:
    from datetime import timedelta

    from fleet.measures.quantities import Kind, read_measure

    return timedelta(minutes=read_measure(grid, Kind.DURATION).base)


def _period(grounds: list[Ground], first: date, last: date) -> tuple[datetime, datetime]:
    """The period that holds these days at every site."""
    from datetime import timedelta

    from fleet.measures.times import start_of_day

    zones = [ground.facts.zone for ground in grounds]
    ends = last + timedelta(days=1)
    return min(start_of_day(first, one) for one in zones), max(start_of_day(ends, one) for one in zones)


def _solve(ground: Ground, seconds: float, step: timedelta, stopped: Callable[[], bool]) -> SitePlan:
    from fleet.lists.plan_kits import complete
    from fleet.planning.facts import Limits
    from fleet.planning.plan import make_plan

    limits = Limits(seconds=seconds, start_grid=step)
    progress = _tell(ground.site.code) if sys.stderr.isatty() else None
    return complete(ground, make_plan(ground.facts, limits=limits, progress=progress, stop=stopped))


def _tell(code: str) -> Callable[[Progress], None]:
    """A line for each step forward, on the terminal only."""
    last: list[str] = []

    def tell(step: Progress) -> None:
        said = f"{code}: {step.aim.value} {step.value}, at best {step.bound}"
        if last[-1:] != [said]:
            last.append(said)
            print_line(said, err=True)

    return tell


@contextmanager
def until_ctrl_c() -> Iterator[Callable[[], bool]]:
    """While the search runs, Ctrl-C ends it and keeps the best plan so far; a second one ends the program."""
    import signal
    import threading

    asked = threading.Event()
    before = signal.getsignal(signal.SIGINT)

    def note(_number: int, _frame: object) -> None:
        # Nothing is printed here: a line may be half written at this very moment.
        if asked.is_set():
            raise KeyboardInterrupt
        asked.set()

    signal.signal(signal.SIGINT, note)
    try:
        yield asked.is_set
    finally:
        signal.signal(signal.SIGINT, before)


def show(context: typer.Context, number: Number, *, as_json: Json = False) -> None:
    """One plan with all that is in it."""
    from fleet.commands.planprints import print_plan
    from fleet.lists.plans import find_plan

    with door(context).look() as (db, _now):
        sheet = find_plan(db, number)
    return print_json(sheet) if as_json else print_plan(sheet)


def list_all(context: typer.Context, *, as_json: Json = False) -> None:
    """Every plan and what became of it, the newest first."""
    from fleet.commands.showing import window
    from fleet.lists.plans import plans
    from fleet.lists.sites import sites

    with door(context).look() as (db, _now):
        found = plans(db)
        zones = {site.code: site.time_zone for site in sites(db)}
    if as_json:
        return print_json([{"state": one.state, "plan": one} for one in found])
    rows = []
    for one in found:
        # Several sites share a period that holds these days at each; the first says which they are.
        when = window(one.starts_at, one.ends_at, zones[one.sites.partition(", ")[0]])
        rows.append((one.number, one.sites, *when, one.made_by, one.state))
    return print_table(("Plan", "Sites", "From", "To", "By", "State"), rows)


def accept(context: typer.Context, number: Number, *, as_json: Json = False) -> None:
    """Reserve all kits of a plan, or none; each is judged anew by the same rules as a kit check."""
    from fleet.desk.plans import accept as take

    with door(context).act() as sitting:
        done = take(sitting.db, number, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(done)
    joints = f"{done.joints} {'joint' if done.joints == 1 else 'joints'}"
    return print_line(f"Plan {number} is accepted: {done.items} items are reserved for {joints}.")


def drop(
    context: typer.Context,
    number: Number,
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why, in a sentence.")],
    *,
    as_json: Json = False,
) -> None:
    """Put a proposed plan aside; it stays on record."""
    from fleet.desk.plans import drop as put_aside

    with door(context).act() as sitting:
        put_aside(sitting.db, number, reason, by=sitting.by, now=sitting.now)
    return (
        print_json({"number": number, "state": "dropped"})
        if as_json
        else print_line(f"Plan {number} is dropped.")
    )
