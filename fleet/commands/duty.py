"""Is the duty done, for whoever asks: a person, another scheduler, or the end of any other command."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import typer

from fleet.commands.door import door
from fleet.commands.printing import Json, print_json, print_table
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from fleet.settings import MailSettings


def register(app: typer.Typer) -> None:
    """Put the command of this module on the app."""
    app.command(rich_help_panel="Care")(duty)


def duty(context: typer.Context, *, as_json: Json = False) -> None:
    """Whether letters go out and the rounds still run. Exit code 3 when something is not in order."""
    from fleet.lists.duty import duty as look_at

    with door(context).room(remark=False) as room, room.look() as db:
        found = look_at(db, room.settings.mail, clock=room.clock())
    if as_json:
        print_json(found)
    else:
        rows = [("yes" if line.ok else "NO", line.what, line.sentence) for line in found]
        print_table(("In order", "What", "How it stands"), rows)
    amiss = sum(not line.ok for line in found)
    if amiss:
        raise NotPossible(f"{amiss} of these {'is' if amiss == 1 else 'are'} not in order.")


def say_when_off(mail: MailSettings) -> None:
    """That letters are off, beside what a command answers; at a terminal its last remark says so."""
    from fleet.settings import LETTERS_OFF

    if not mail.on and not sys.stderr.isatty():
        typer.echo(LETTERS_OFF, err=True)
