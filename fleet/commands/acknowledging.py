"""Saying that a letter was read."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.commands.door import door
from fleet.commands.letters import letters
from fleet.commands.printing import Json, Site, print_json, print_line


def register(_app: typer.Typer) -> None:
    """Put the command among those of letters."""
    letters.command()(acknowledge)


def acknowledge(
    context: typer.Context,
    number: Annotated[int, typer.Argument(help="Number from: fleet letters list")],
    site: Site = None,
    whose: Annotated[
        str | None,
        typer.Option("--for", help="Badge of the person to whom it went first, if it was passed on to you."),
    ] = None,
    *,
    at_once: Annotated[bool, typer.Option("--at-once", help="Not a weekly letter but one at once.")] = False,
    as_json: Json = False,
) -> None:
    """Say that you have read a letter, so that it is not passed on to anybody else."""
    from fleet.commands.showing import moment
    from fleet.desk.acknowledging import Numbered
    from fleet.desk.acknowledging import acknowledge as note
    from fleet.lists.people import find_person
    from fleet.lists.sites import find_site
    from fleet.rules.letters import WEEKLY
    from fleet.rules.matters import AT_ONCE

    with door(context).act() as sitting:
        person = find_person(sitting.db, whose).id if whose else None
        kind = AT_ONCE if at_once else WEEKLY
        asked = Numbered(find_site(sitting.db, site).id, kind, number, person)
        done = note(sitting.db, asked, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(done)
    for one in done:
        when = moment(one.at, one.time_zone)
        called = f"Letter {one.number} of {one.site} to {one.address}"
        if one.again:
            print_line(f"{called} was acknowledged already, by {one.by} on {when}.")
        else:
            print_line(f"{called} is acknowledged by {one.by}, {when}.")
    return None
