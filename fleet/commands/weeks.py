"""The weeks ahead: items by weeks, as a table and as a picture."""

from __future__ import annotations

import shutil
import sys
import textwrap
from itertools import groupby, zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door
from fleet.commands.printing import Json, Site, print_json, print_line
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.rules.weeks import Weeks

# What a job's code needs in a column.
_NARROWEST = 6


def register(plan: typer.Typer) -> None:
    """Put the command of this module on the group."""
    plan.command("weeks")(show_weeks)


def show_weeks(
    context: typer.Context,
    site: Site = None,
    start: Annotated[
        str | None, typer.Option("--from", help="A day in the first week; today when left out.")
    ] = None,
    many: Annotated[int, typer.Option("--weeks", help="How many weeks, 1 to 53.")] = 8,
    kind: Annotated[str | None, typer.Option("--kind", "-k", help="Only wrenches, pumps, hoses …")] = None,
    picture: Annotated[Path | None, typer.Option("--picture", help="Draw it into this SVG file.")] = None,
    *,
    as_json: Json = False,
) -> None:
    """Week by week: what is kept for which job, what is out or falls due, and joints without a wrench."""
    from fleet.commands.asking import asked_day, known_kind
    from fleet.lists.sites import find_site
    from fleet.lists.weeks import weeks as list_weeks
    from fleet.rules.week_pictures import weeks_picture
    from fleet.rules.weeks import make_period

    with door(context).look() as (db, now):
        where = find_site(db, site)
        period = make_period(asked_day(start, where.today(now)), many)
        found = list_weeks(db, where, period, kind=known_kind(kind), now=now)
    if picture:
        try:
            picture.write_text(weeks_picture(found), encoding="utf-8")
        except OSError as error:
            raise NotPossible(f"The picture {picture} cannot be written: {error.strerror}.") from None
    if as_json:
        return print_json(found)
    _print(found)
    return print_line(f"Drawn into {picture}.") if picture else None


def _print(found: Weeks) -> None:
    """A block per model; items with nothing against them stand on one line of it."""
    from fleet.commands.showing import day, tag
    from fleet.rules.weeks import head, say_stretch, say_week

    mondays = found.period.mondays
    print_line(f"{found.site_name}: {day(found.period.first_day)} to {day(found.period.last_day)}")
    for one in found.shortages:
        print_line(f"  ! {say_stretch(one.stretch)}", hang=4)
    if not found.items:
        return print_line("No item of this sort is on record at this site.")
    rows = [
        (one, [tag(one.tag), *(say_week(one.stretches, monday) for monday in mondays)]) for one in found.items
    ]
    heads = ["", *map(head, mondays)]
    widths = _widths([heads, *(cells for _, cells in rows)])
    _print_row(heads, widths)
    for (kind, model), of_model in groupby(rows, key=lambda row: (row[0].kind, row[0].model)):
        print_line(f"{kind} {model}")
        free = []
        for _, cells in of_model:
            if any(cells[1:]):
                _print_row(cells, widths)
            else:
                free.append(cells[0])
        if free:
            print_line(f"  nothing against {', '.join(free)}", hang=4)
    return None


def _widths(rows: Sequence[Sequence[str]]) -> list[int]:
    """How wide each column is: all it holds in a pipe, an even share of a terminal."""
    widths = [max(map(len, cells)) for cells in zip(*rows, strict=True)]
    if not sys.stdout.isatty():
        return widths
    room = shutil.get_terminal_size().columns - widths[0] - 2
    share = max(room // (len(widths) - 1) - 1, _NARROWEST)
    return [widths[0], *(min(width, share) for width in widths[1:])]


def _print_row(cells: Sequence[str], widths: Sequence[int]) -> None:
    wrapped = [textwrap.wrap(cell, width) for cell, width in zip(cells, widths, strict=True)]
    for words in zip_longest(*wrapped, fillvalue=""):
        line = " ".join(word.ljust(width) for word, width in zip(words, widths, strict=True))
        typer.echo(f"  {line}".rstrip())
