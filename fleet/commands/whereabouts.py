"""What is out, what is on hold, and which concessions there are."""

from __future__ import annotations

import typer

from fleet.commands.door import door
from fleet.commands.printing import Json, Site, print_json, print_table


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    app.command("out", rich_help_panel="At the counter")(list_out)
    app.command("holds", rich_help_panel="Upkeep")(list_holds)
    app.command("concessions", rich_help_panel="Upkeep")(list_concessions)


def list_out(context: typer.Context, site: Site = None, *, as_json: Json = False) -> None:
    """What is out: who has it, for which job, and how late it is; the latest first."""
    from fleet.commands.showing import day, tag
    from fleet.lists.out import out
    from fleet.lists.sites import find_site

    with door(context).look() as (db, now):
        where = find_site(db, site)
        found = out(db, where, now=now)
    if as_json:
        return print_json(found)
    rows = [
        (
            f"{line.days_late} days late" if line.days_late else "",
            tag(line.tag),
            f"{line.kind} {line.model}",
            line.holder,
            line.job,
            day(line.issued_on),
            day(line.back_on),
        )
        for line in found
    ]
    late = sum(line.days_late > 0 for line in found)
    title = f"{where.name}: {len(found)} out, {late} late"
    return print_table(("", "Tag", "What", "Holder", "Job", "Issued", "Back on"), rows, title=title)


def list_holds(context: typer.Context, site: Site = None, *, as_json: Json = False) -> None:
    """What is on hold, why and for how long; the oldest first."""
    from fleet.commands.showing import day, tag
    from fleet.lists.holds import holds
    from fleet.lists.sites import find_site

    with door(context).look() as (db, now):
        where = find_site(db, site)
        found = holds(db, where, now=now)
    if as_json:
        return print_json(found)
    rows = [
        (
            line.id,
            tag(line.tag),
            f"{line.kind} {line.model}",
            f"{day(line.opened_on)} ({line.age_days} days)",
            f"with {line.holder}" if line.holder else line.shelf,
            f"{line.cause}: {line.reason} ({line.opened_by or 'the program'})",
        )
        for line in found
    ]
    columns = ("Hold", "Tag", "What", "Since", "Where", "Why")
    return print_table(columns, rows, title=f"{where.name}: on hold")


def list_concessions(context: typer.Context, site: Site = None, *, as_json: Json = False) -> None:
    """Concessions in force or of the last seven days: who asked, who granted, why and until when."""
    from fleet.commands.printing import plain
    from fleet.commands.showing import moment, tag
    from fleet.lists.concessions import concessions
    from fleet.lists.sites import find_site

    with door(context).look() as (db, now):
        where = find_site(db, site)
        found = concessions(db, where, now=now)
    if as_json:
        return print_json([plain(line) | {"in_force": line.in_force(now)} for line in found])
    rows = [
        (
            "IN FORCE" if line.in_force(now) else "",
            tag(line.tag),
            f"{line.kind} {line.model}",
            line.task,
            line.job,
            moment(line.ends_at, where.time_zone),
            line.asked_by,
            line.granted_by,
            f"{line.reason_code}: {line.reason}",
        )
        for line in found
    ]
    columns = ("", "Tag", "What", "Task", "Job", "Until", "Asked by", "Granted by", "Reason")
    return print_table(columns, rows, title=f"{where.name}: concessions")
