"""Letting people in to the pages, by whoever runs the machine."""

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


Address = Annotated[str, typer.Option("--at", help="Where the pages are served.")]
HERE = "http://127.0.0.1:8741"


@access.command()
def first(
    context: typer.Context,
    badge: Annotated[str, typer.Argument(help="Who becomes the administrator.")],
    address: Address = HERE,
    *,
    as_json: Json = False,
) -> None:
    """Make the link with which the first administrator sets a password: once, within an hour."""
    from fleet.desk.logins import invite_first
    from fleet.rules.people import SETTING_UP

    with door(context).room() as room, room.act() as db:
        token = invite_first(db, badge, by=SETTING_UP, now=room.now(db))
    return _tell(address, token, "within an hour", as_json=as_json)


@access.command()
def link(
    context: typer.Context,
    badge: Annotated[str, typer.Argument(help="Who is to log in, or forgot the password.")],
    address: Address = HERE,
    *,
    as_json: Json = False,
) -> None:
    """Make a link with which somebody sets a password: once, within a day. A second factor stays."""
    from fleet.desk.logins import invite
    from fleet.rules.people import SETTING_UP

    with door(context).room() as room, room.act() as db:
        token = invite(db, badge, by=SETTING_UP, now=room.now(db))
    return _tell(address, token, "within a day", as_json=as_json)


@access.command("forget-factor")
def forget_factor(
    context: typer.Context,
    badge: Annotated[str, typer.Argument(help="Whose telephone or key is lost.")],
    reason: Annotated[str, typer.Option("--reason", "-r", help="How you made sure that it is them.")],
) -> None:
    """Forget somebody's second factor: they set up a new one at the next log-in, and are logged out."""
    from fleet.desk.logins import forget_second_factor
    from fleet.rules.people import SETTING_UP

    with door(context).room() as room, room.act() as db:
        forget_second_factor(db, badge, reason, by=SETTING_UP, now=room.now(db))
    typer.echo("Forgotten. The next log-in with the password asks for a new one before anything else.")


def _tell(address: str, token: str, how_long: str, *, as_json: bool) -> None:
    made = f"{address.rstrip('/')}/invited/{token}"
    if as_json:
        return print_json({"link": made})
    typer.echo(f"Open this link {how_long}. It works once, and lets its reader set the password:")
    return typer.echo(made)
