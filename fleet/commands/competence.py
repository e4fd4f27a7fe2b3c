"""Who may inspect and test what, and what they look at."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from fleet.commands.door import door
from fleet.commands.grouping import Grouped
from fleet.commands.printing import Json, print_json, print_line, print_table
from fleet.refusals import Unreadable

competence = typer.Typer(help="Who may inspect and test what.", no_args_is_help=True, cls=Grouped)
checklist = typer.Typer(help="What an inspection looks at.", no_args_is_help=True, cls=Grouped)

MOST_BYTES = 1_000_000
Person = Annotated[str, typer.Argument(metavar="PERSON", help="Badge or name.")]
OfKind = Annotated[str, typer.Option("--kind", "-k", help="wrench, pump, hose, coupler, gauge or socket.")]
Kind = Annotated[str, typer.Argument(metavar="KIND", help="wrench, pump, hose, coupler, gauge or socket.")]
Task = Annotated[
    str, typer.Option("--task", "-t", help="An upkeep task, 'inspection before use' or 'proof test'.")
]


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    for command in (grant, end):
        competence.command()(command)
    competence.command("list")(list_all)
    checklist.command()(show)
    checklist.command("take-in")(take_in)
    app.add_typer(competence, name="competence", rich_help_panel="Upkeep")
    app.add_typer(checklist, name="checklist", rich_help_panel="Upkeep")


def grant(
    context: typer.Context,
    person: Person,
    kind: OfKind,
    task: Task,
    until: Annotated[str, typer.Option("--until", "-u", help="The last day it counts: 2027-05-04.")],
    evidence: Annotated[str, typer.Option("--evidence", "-e", help="Which certificate or instruction.")],
    *,
    as_json: Json = False,
) -> None:
    """Let somebody do a task on a kind through a day, or renew it. Only a safety officer, for another."""
    from fleet.commands.asking import known_kind
    from fleet.commands.showing import day
    from fleet.desk.competence import GrantSlip, grant_competence
    from fleet.measures.times import read_day

    slip = GrantSlip(person, known_kind(kind) or kind, task, read_day(until), evidence)
    with door(context).act() as sitting:
        given = grant_competence(sitting.db, slip, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(given)
    renewed = " It takes the place of an earlier one." if given.renewed else ""
    again = " That was on record already." if given.again else ""
    return print_line(
        f"{given.person} may do {given.task} on a {given.kind} through {day(given.expires_on)}."
        f"{renewed}{again}"
    )


def end(
    context: typer.Context,
    person: Person,
    kind: OfKind,
    task: Task,
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why it ends.")],
    *,
    as_json: Json = False,
) -> None:
    """End somebody's competence before its last day; what was done by it stays."""
    from fleet.commands.asking import known_kind
    from fleet.desk.competence import end_competence

    named = known_kind(kind) or kind
    with door(context).act() as sitting:
        gone = end_competence(sitting.db, person, named, task, reason, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(gone)
    return print_line(f"{gone.person} may no longer do {gone.task} on a {gone.kind}.")


def list_all(
    context: typer.Context,
    person: Annotated[str | None, typer.Argument(metavar="PERSON", help="Only this person's.")] = None,
    kind: Annotated[str | None, typer.Option("--kind", "-k", help="Only for this kind.")] = None,
    *,
    soon: Annotated[
        bool, typer.Option("--soon", help="Only those that end within 60 days, or have expired.")
    ] = False,
    ended: Annotated[bool, typer.Option("--ended", help="Those too that somebody ended.")] = False,
    as_json: Json = False,
) -> None:
    """Every competence, the one that ends first on top."""
    from fleet.commands.asking import known_kind
    from fleet.commands.showing import day
    from fleet.lists.competence import competences
    from fleet.lists.people import find_person

    with door(context).look() as (db, now):
        badge = find_person(db, person).badge if person else None
        found = competences(db, now=now, badge=badge, kind=known_kind(kind), ended=ended)
    if soon:
        found = [one for one in found if one.state in ("ends soon", "expired")]
    if as_json:
        return print_json(found)
    rows = [
        (one.state, day(one.expires_on), one.person, one.kind, one.task, one.end_reason or one.evidence)
        for one in found
    ]
    head = ("", "Through", "Person", "Kind", "Task", "Evidence, or why ended")
    return print_table(head, rows, title="Competences", empty="none.")


def show(
    context: typer.Context,
    kind: Kind,
    version: Annotated[
        int | None, typer.Option("--version", help="An older version; 0 is the program's own.")
    ] = None,
    *,
    as_csv: Annotated[bool, typer.Option("--csv", help="As a file to change and take in again.")] = False,
    as_json: Json = False,
) -> None:
    """The checklist in use for a kind, or an older version of it."""
    from fleet.commands.asking import known_kind
    from fleet.lists.checklists import find_checklist

    with door(context).look() as (db, _now):
        found = find_checklist(db, known_kind(kind) or kind, version)
    if as_json:
        return print_json(found)
    if as_csv:
        import csv

        from fleet.rules.checklists import HEADINGS

        rows = csv.writer(sys.stdout, lineterminator="\n")
        rows.writerow(HEADINGS)
        rows.writerows((found.kind, point) for point in found.points)
        return None
    title = f"Checklist for a {found.kind}, version {found.version}, from {found.source}"
    print_table(("No", "Checkpoint"), list(enumerate(found.points, start=1)), title=title)
    return print_line("The maker's manual and site rules may ask for more; they prevail.")


def take_in(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(help="CSV with the headings Kind and Checkpoint.")],
    *,
    as_json: Json = False,
) -> None:
    """Put the room's own checklists in use. Only a safety officer; older versions are kept."""
    from fleet.desk.checklists import take_in_checklists
    from fleet.rules.checklists import read_checklists

    try:
        with file.open("rb") as content:
            text = content.read(MOST_BYTES).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise Unreadable(f"{file} is not written in UTF-8. Save it as CSV UTF-8.") from None
    except OSError as error:
        raise Unreadable(f"{file} cannot be read: {error.strerror}.") from error
    given = read_checklists(text, file.name)
    with door(context).act() as sitting:
        taken = take_in_checklists(sitting.db, given, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json([{"new": new, "checklist": one} for one, new in taken])
    for one, new in taken:
        count = f"{len(one.points)} checkpoints"
        said = "is now in use" if new else "says the same and stays in use"
        print_line(f"Version {one.version} of the checklist for a {one.kind} {said}: {count}.")
    return None
