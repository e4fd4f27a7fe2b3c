"""Planning upkeep ahead, so that nothing falls due inside a reserved window."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door
from fleet.commands.printing import Json, Site, print_json, print_line, print_table

if TYPE_CHECKING:
    from fleet.lists.upkeep_plan import UpkeepSheet
    from fleet.rules.upkeep_plan import Overload


def register(plan: typer.Typer) -> None:
    """Put the command of this module on the group of plans."""
    plan.command("upkeep")(upkeep)


def upkeep(
    context: typer.Context,
    site: Site = None,
    start: Annotated[str | None, typer.Option("--from", help="First day; today when left out.")] = None,
    weeks: Annotated[int, typer.Option("--weeks", help="How many weeks.")] = 12,
    capacity: Annotated[int, typer.Option("--capacity", help="How many items a week at most.")] = 4,
    *,
    as_json: Json = False,
) -> None:
    """Which upkeep to do in which week, so that nothing falls due while it is reserved or out."""
    from fleet.commands.asking import asked_day
    from fleet.lists.sites import find_site
    from fleet.lists.upkeep_plan import upkeep_plan

    with door(context).look() as (db, now):
        place = find_site(db, site)
        first = asked_day(start, place.today(now))
        sheet = upkeep_plan(db, place, first, weeks, capacity, now=now)
    return print_json(sheet) if as_json else _print(sheet)


def _print(sheet: UpkeepSheet) -> None:
    from fleet.commands.showing import day, tag

    made = sheet.plan
    print_line(f"Upkeep of {sheet.site} from {day(sheet.first_day)}, {sheet.weeks} weeks.")
    rows = []
    for monday, group in groupby(made.placed, key=lambda one: one.monday):
        for at, one in enumerate(group):
            visit = one.visit
            by = f"{day(visit.last_day)}{f', before {visit.before}' if visit.before else ''}"
            week = "" if at else day(monday)
            rows.append((week, tag(visit.tag), sheet.what[visit.tag], ", ".join(visit.tasks), by))
    print_table(("Week of", "Tag", "What", "To do", "By"), rows, empty="Nothing has to be done.")
    for visit in made.unplaced:
        tasks = ", ".join(visit.tasks)
        print_line(f"No place for {tag(visit.tag)}: {tasks}, by {day(visit.last_day)}.", hang=2)
    for blocked in made.blocked:
        print_line(
            f"No day for {tag(blocked.tag)}: {', '.join(blocked.tasks)} falls due {day(blocked.due_on)}, and "
            f"{blocked.job} has it until {day(blocked.until)}. Swap it, or bring it in.",
            hang=2,
        )
    for worn in sheet.worn_out:
        print_line(f"{tag(worn)} ends its life inside a reserved window: swap it.", hang=2)
    if made.overload:
        _print_overload(made.overload, sheet.capacity)
    elif made.placed:
        print_line(f"Feasible, with at most {made.level} a week of the {sheet.capacity} there is room for.")


def _print_overload(found: Overload, capacity: int) -> None:
    from fleet.commands.showing import day

    alone = found.first_monday == found.last_monday
    weeks = "The week of" if alone else "The weeks of"
    last = "" if alone else f" to {day(found.last_monday)}"
    print_line(
        f"Not feasible: {weeks} {day(found.first_monday)}{last} must hold {found.visits} items, and "
        f"{capacity} a week make {found.places} places. Raise --capacity, swap items, or move a window.",
        hang=2,
    )
