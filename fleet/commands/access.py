"""Letting the first person in."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.commands.door import door
from fleet.commands.grouping import Grouped
from fleet.commands.printing import Json, print_json

access = typer.Typer(help="Who can log in to the pages.", no_args_is_help=True, cls=Grouped)


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    app.add_typer(access, name="access", rich_help_panel="Care")


@access.command()
def first(
    context: typer.Context,
    badge: Annotated[str, typer.Argument(help="Who becomes the administrator.")],
    address: Annotated[
        str, typer.Option("--at", help="Where the pages are served.")
    ] = "http://127.0.0.1:8741",
    *,
    as_json: Json = False,
) -> None:
    """Make the link with which the first administrator sets a password: once, within an hour."""
    from fleet.desk.logins import invite_first
    from fleet.rules.people import SETTING_UP

    with door(context).room() as room, room.act() as db:
        token = invite_first(db, badge, by=SETTING_UP, now=room.now(db))
    link = f"{address.rstrip('/')}/invited/{token}"
    if as_json:
        return print_json({"link": link})
    typer.echo("Open this link within an hour. It works once, and lets its reader set the password:")
    return typer.echo(link)
