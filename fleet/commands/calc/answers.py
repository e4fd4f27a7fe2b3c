"""What a calculation is asked on the command line, and the one printout of what it answers."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

import typer

from fleet.commands.door import door
from fleet.commands.printing import print_cautions, print_facts, print_json, print_line, print_table

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine
    from fleet.lists.sites import SiteLine
    from fleet.papers.bench.answers import Answer
    from fleet.papers.bench.asked import Asked
    from fleet.papers.bench.reading import Table
    from fleet.papers.bench.register import Register


def give(answer: Answer, *, as_json: bool) -> None:
    """Print an answer."""
    if as_json:
        said = {"assumptions": answer.assumptions, "source": answer.source, "cautions": answer.cautions}
        print_json({**answer.values, **said})
        return
    print_facts(answer.facts, fit=True)
    for grid in answer.grids:
        print_table(grid.columns, grid.rows, title=grid.title, fit=True)
    for finding in answer.findings:
        print_line(f"  {finding}", hang=4, fit=True)
    if answer.assumptions:
        typer.echo("Assumed")
    for sentence in answer.assumptions:
        print_line(f"  - {sentence}", hang=4, fit=True)
    print_line(f"Source: {answer.source}", hang=2, fit=True)
    print_cautions(answer.cautions)


def asked(context: typer.Context, points: Path | None = None, /, **fields: object) -> Asked:
    """What was typed; a field is called as its option is."""
    from fleet.papers.bench.asked import Asked

    table = None if points is None else lambda: table_of(points)
    return Asked(
        {**fields, "points": table},
        called=lambda name: f"--{name.replace('_', '-')}",
        register=lambda: _register(context),
    )


def _register(context: typer.Context) -> Register:
    from fleet.lists.items import find_item
    from fleet.lists.jobs import find_job
    from fleet.lists.models import find_model
    from fleet.lists.sites import find_site
    from fleet.papers.bench.register import Register

    @contextmanager
    def look() -> Iterator[Connection]:
        with door(context).look() as (db, _now):
            yield db

    def item(db: Connection, tag: str) -> tuple[ItemLine, SiteLine]:
        found = find_item(db, tag)
        return found, find_site(db, found.site)

    return Register(look, item, find_job, find_model)


def table_of(path: Path) -> Table:
    """The headings and the filled rows of a file of points."""
    from fleet.commands.transfer import read_files
    from fleet.papers.bench.reading import filled

    read = read_files([path])[0]
    return filled(read.tables[0].headings, read.tables[0].rows, read.name)
