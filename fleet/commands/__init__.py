"""The command line: read the arguments, one act or list, one printout.

Nothing heavy is imported before a command runs, so that ``fleet --help`` answers at once.
"""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from fleet.commands import care, holds, kits, loans, register, upkeep
from fleet.commands.door import Door
from fleet.refusals import Refusal

REFUSED = 3

app = typer.Typer(
    name="fleet",
    help="The tool room's register, loans, upkeep, kit checks and weekly letters.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
)


@app.callback()
def begin(
    context: typer.Context,
    database: Annotated[
        str | None,
        typer.Option(
            "--database", "-d", help="File or postgresql:// address. Else FLEET_DATABASE, or your own."
        ),
    ] = None,
    by: Annotated[
        str | None, typer.Option("--by", help="Who is acting: badge or name. Else FLEET_ACTING.")
    ] = None,
) -> None:
    """Remember what every command needs; open nothing yet."""
    context.obj = Door(database, by)


# In the order in which the help names them.
for _module in (loans, upkeep, holds, kits, register, care):
    _module.register(app)


def main() -> None:
    """Run a command; a refusal is one sentence and exit code 3."""
    try:
        app()
    except Refusal as refusal:
        typer.echo(str(refusal), err=True)
        sys.exit(REFUSED)
    except KeyboardInterrupt:
        typer.echo("Stopped. What was not reported as done was not saved.", err=True)
        sys.exit(130)
    except BrokenPipeError:
        # The reader (head, less) has seen enough.
        sys.stderr.close()
        sys.exit(0)
