"""Who reads somebody's letters while they are away, and who stands in for whom."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.commands.door import door
from fleet.commands.grouping import Grouped
from fleet.commands.printing import Json, print_json, print_line, print_table
from fleet.refusals import Unreadable

deputy = typer.Typer(
    help="Who gets somebody's letters while they are away.", no_args_is_help=True, cls=Grouped
)

Person = Annotated[str, typer.Argument(metavar="PERSON", help="Badge or name.")]


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    deputy.command("set")(name)
    deputy.command("list")(list_all)
    deputy.command("absent")(absent)
    deputy.command("back")(back)
    app.add_typer(deputy, name="deputy", rich_help_panel="Letters")


def name(
    context: typer.Context,
    person: Person,
    stand_in: Annotated[
        str | None, typer.Argument(metavar="DEPUTY", help="Badge or name of the deputy.")
    ] = None,
    *,
    nobody: Annotated[bool, typer.Option("--nobody", help="From now on there is no deputy.")] = False,
    as_json: Json = False,
) -> None:
    """Name the standing deputy of somebody, who also gets the letters that nobody said they had read."""
    from fleet.desk.deputies import set_deputy

    if nobody == (stand_in is not None):
        raise Unreadable("Name the deputy after the person, or write --nobody; one of the two.")
    with door(context).act() as sitting:
        done = set_deputy(sitting.db, person, stand_in, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(done)
    if done.deputy is None:
        return print_line(f"{done.person} has no standing deputy any more.")
    return print_line(f"{done.deputy} is the standing deputy of {done.person} from now on.")


def absent(
    context: typer.Context,
    person: Person,
    first: Annotated[str, typer.Option("--from", help="First day away: 2026-05-18.")],
    last: Annotated[str, typer.Option("--through", help="Last day away: 2026-05-29.")],
    stand_in: Annotated[
        str | None, typer.Option("--deputy", help="Who is told instead; else the standing deputy.")
    ] = None,
    *,
    as_json: Json = False,
) -> None:
    """Let somebody else get the letters of a person who is away; every role stays as it is."""
    from fleet.commands.showing import day
    from fleet.desk.deputies import AbsenceSlip, set_absence
    from fleet.measures.times import read_day

    slip = AbsenceSlip(person, read_day(first), read_day(last), stand_in)
    with door(context).act() as sitting:
        done = set_absence(sitting.db, slip, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(done)
    return print_line(
        f"{done.person} is away from {day(done.from_day)} through {day(done.through_day)}; "
        f"{done.deputy} gets the letters instead."
    )


def back(
    context: typer.Context,
    person: Person,
    first: Annotated[
        str | None, typer.Option("--from", help="Which absence, when there are several: its first day.")
    ] = None,
    *,
    as_json: Json = False,
) -> None:
    """End an absence early: the person gets their own letters again from now on."""
    from fleet.commands.showing import day
    from fleet.desk.deputies import end_absence
    from fleet.measures.times import read_day

    from_day = read_day(first) if first else None
    with door(context).act() as sitting:
        done = end_absence(sitting.db, person, by=sitting.by, now=sitting.now, from_day=from_day)
    if as_json:
        return print_json(done)
    return print_line(
        f"The absence of {done.person} from {day(done.from_day)} through {day(done.through_day)} is ended; "
        f"{done.person} gets the letters again."
    )


def list_all(
    context: typer.Context,
    *,
    every: Annotated[bool, typer.Option("--all", help="Absences too that are over or were ended.")] = False,
    as_json: Json = False,
) -> None:
    """Absences of today and to come, and every standing deputy."""
    from fleet.commands.showing import day
    from fleet.lists.deputies import absences, deputies

    with door(context).look() as (db, now):
        away, standing = absences(db, now=now, every=every), deputies(db)
    if as_json:
        return print_json({"absences": away, "standing": standing})
    rows = [
        (
            day(one.from_day),
            day(one.through_day),
            f"{one.person} ({one.badge})",
            f"{one.deputy} ({one.deputy_badge})",
            f"by {one.ended_by or 'set-up'}" if one.ended_at else "",
        )
        for one in away
    ]
    head = ("From", "Through", "Away", "Told instead", "Ended")
    shown, wide = (head, rows) if any(row[4] for row in rows) else (head[:4], [row[:4] for row in rows])
    print_table(shown, wide, title="Absences", empty="nobody is away.")
    print_table(
        ("Person", "Deputy", "What is wrong"),
        [
            (f"{one.person} ({one.badge})", f"{one.deputy} ({one.deputy_badge})", one.trouble)
            for one in standing
        ],
        title="Standing deputies",
        empty="none.",
    )
    return None
