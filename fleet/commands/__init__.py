"""The command line: read the arguments, one act or list, one printout.

Nothing heavy is imported before a command runs, so that ``fleet --help`` answers at once.
"""

from __future__ import annotations

import sys
from functools import cache
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fleet.commands import (
    access,
    acknowledging,
    away,
    breakouts,
    calc,
    calendars,
    calibrations,
    care,
    competence,
    daybook,
    demo,
    deputies,
    duty,
    holds,
    inspections,
    intervals,
    kitfinding,
    kits,
    letters,
    loans,
    papers,
    plan,
    prooftests,
    recalls,
    register,
    repairs,
    reservations,
    reviews,
    serve,
    templates,
    tokens,
    transfer,
    upkeep,
    whereabouts,
)
from fleet.commands.door import Door
from fleet.commands.grouping import Grouped
from fleet.commands.printing import print_line
from fleet.refusals import Refusal

if TYPE_CHECKING:
    from collections.abc import Sequence

REFUSED = 3
# Ctrl-C, as typer answers it.
STOPPED = 130
COMMON = ("--database", "-d", "--by")

app = typer.Typer(
    name="fleet",
    help="The tool room's register, loans, upkeep, kit checks and weekly letters.",
    no_args_is_help=True,
    cls=Grouped,
    rich_markup_mode=None,
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
    remarks = context.obj if isinstance(context.obj, list) else []
    context.obj = Door(database, by, remarks=remarks)


# In the order in which the help names them.
for _module in (
    loans,
    upkeep,
    inspections,
    prooftests,
    competence,
    holds,
    recalls,
    repairs,
    reviews,
    away,
    calibrations,
    intervals,
    whereabouts,
    letters,
    acknowledging,
    deputies,
    kits,
    kitfinding,
    templates,
    reservations,
    plan,
    calendars,
    breakouts,
    calc,
    register,
    transfer,
    demo,
    care,
    duty,
    serve,
    access,
    tokens,
    daybook,
    papers,
):
    _module.register(app)


def _common_first(words: list[str]) -> list[str]:
    """Let the options that every command has stand anywhere, since that is where people write them."""
    common, rest = [], []
    remaining = iter(words)
    for word in remaining:
        if word == "--":
            rest += [word, *remaining]
        elif word in COMMON:
            value = next(remaining, None)
            if value is None:
                # Alone, so that the answer is that its value is missing.
                return [word]
            common += [word, value]
        elif word.startswith(("--database=", "--by=")):
            common.append(word)
        else:
            rest.append(word)
    return common + rest


@cache
def program() -> Any:  # noqa: ANN401  Typer's own, not public.
    """The commands as typer makes them of their functions: once, since that takes a seventh of a second."""
    return typer.main.get_command(app)


def main(words: Sequence[str] | None = None) -> None:
    """Run what was typed; a refusal is one sentence and exit code 3."""
    remarks: list[str] = []
    try:
        program()(args=_common_first(list(sys.argv[1:] if words is None else words)), obj=remarks)
    except Refusal as refusal:
        print_line(str(refusal), err=True)
        sys.exit(REFUSED)
    except SystemExit as end:
        if end.code == STOPPED:
            typer.echo("Stopped. What was not reported as done was not saved.", err=True)
        raise
    finally:
        for remark in remarks:
            print_line(remark, err=True)
