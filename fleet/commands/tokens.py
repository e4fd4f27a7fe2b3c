"""One's own tokens of programs and calendars, for whoever has no page at hand to end one.

They are made on the pages only: to make one takes a proof that it is still the same person.
"""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.commands.access import access
from fleet.commands.door import door
from fleet.commands.grouping import Grouped
from fleet.commands.printing import Json, print_json, print_line, print_table

token = typer.Typer(help="Tokens of programs and calendars.", no_args_is_help=True, cls=Grouped)


def register(_app: typer.Typer) -> None:
    """Put the commands of this module beside those about logging in."""
    token.command("list")(list_all)
    token.command("end")(end)
    access.add_typer(token, name="token")


def list_all(context: typer.Context, *, as_json: Json = False) -> None:
    """Your tokens, the newest first: what each is for, where, and until when. None is shown itself."""
    from fleet.commands.showing import moment
    from fleet.lists.tokens import tokens

    # Only an act says who is acting; nothing is changed by it.
    with door(context).act() as sitting:
        found = tokens(sitting.db, sitting.by.id or 0)
        now = sitting.now
    if as_json:
        return print_json(found)
    rows = [
        (
            one.id,
            one.name,
            " ".join(one.scopes),
            one.site or "all",
            moment(one.expires_at, "UTC") if one.expires_at else "",
            "" if one.usable(now) else "ended" if one.ended_at else "expired",
        )
        for one in found
    ]
    return print_table(("No.", "Name", "For", "Site", "Until (UTC)", ""), rows, empty="You have none.")


def end(
    context: typer.Context,
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="From: fleet access token list")],
) -> None:
    """End one of your tokens: whoever has it is out with the next request."""
    from fleet.desk.tokens import end_token

    with door(context).act() as sitting:
        end_token(sitting.db, number, by=sitting.by, now=sitting.now)
    print_line(f"Token {number} is ended.")
