"""How a plan is printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.commands.printing import print_line, print_table

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleet.lists.plans import PlanSheet
    from fleet.rules.plans import NotServed, ScoreLine, SitePlan, StageLine

# So many items that could not be planned with are named; the rest stands in the JSON.
MOST_ASIDE = 10
AIMS = {"works unserved": "joints unserved", "kits": "kits", "oversize": "N·m oversize"}


def print_plan(sheet: PlanSheet) -> None:
    """A plan on a terminal: each site by itself, then what to do next."""
    line, sites = sheet.line, sheet.draft.sites
    print_line(f"Plan {line.number} of {line.sites}, {line.state}.")
    if len(sites) > 1:
        print_line("Items do not travel: each site is planned by itself.")
    for one in sites:
        print_line("")
        _print_site(one, sheet.draft.grid_hours)
    if line.state == "proposed":
        print_line("")
        print_line(f"Nothing is reserved yet. To reserve it all: fleet plan accept {line.number}")


def _print_site(one: SitePlan, grid_hours: float) -> None:
    from fleet.commands.showing import tag, window

    rows = [
        (
            part.job,
            part.joint,
            *window(part.starts_at, part.ends_at, one.time_zone),
            " ".join(tag(item) for item in kit.tags),
        )
        for part in one.parts
        for kit in part.kits
    ]
    print_table(("Job", "Joint", "From", "To", "Kit"), rows, title=one.site, empty="No joint is served.")
    _print_unserved("Not served", one.unserved)
    _print_unserved("Not planned", one.left_out)
    if one.kept:
        print_line(f"Kept as reserved: {', '.join(one.kept)}", hang=2)
    if one.hires:
        print_line("To hire, so that every joint is served:")
        for hire in one.hires:
            print_line(f"  {hire}", hang=4)
    _print_worth(one, grid_hours)
    if one.aside:
        print_line(f"Not planned with, {len(one.aside)} items:")
        for said in one.aside[:MOST_ASIDE]:
            print_line(f"  {said}", hang=4)
        if len(one.aside) > MOST_ASIDE:
            print_line(f"  and {len(one.aside) - MOST_ASIDE} more; --json names them all")


def _print_unserved(title: str, found: Iterable[NotServed]) -> None:
    known = list(found)
    if known:
        print_line(f"{title}:")
    for one in known:
        print_line(f"  {one.job} {one.joint}: {one.why}", hang=4)


def _print_worth(one: SitePlan, grid_hours: float) -> None:
    """What was reached, how far that may be from the best, and what first come, first served would give."""
    print_line(f"Reached: {_score(one.score)}.", hang=2)
    print_line(f"First come, first served, hoses and sockets aside: {_score(one.first_come)}.", hang=2)
    print_line("Proof, hoses and sockets aside:")
    for stage in one.stages:
        print_line(f"  {AIMS.get(stage.aim, stage.aim)}: {_gap(stage)}", hang=4)
    if one.stopped:
        print_line("The search ended before everything was proven; more --seconds may find better.", hang=2)
    print_line(f"Start times were tried every {grid_hours:g} h; between them a better plan may lie.", hang=2)


def _score(score: ScoreLine) -> str:
    joints = f"{score.unserved} {'joint' if score.unserved == 1 else 'joints'} unserved"
    kits = f"{score.kits} {'kit' if score.kits == 1 else 'kits'}"
    return f"{joints}, {kits}, {score.oversize_nm:,} N·m oversize"


def _gap(stage: StageLine) -> str:
    if stage.proven:
        return f"{stage.value:,}, proven: there is no better"
    return f"{stage.value:,}, at best {stage.bound:,}"
