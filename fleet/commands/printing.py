"""Printouts: tables on a terminal, plain columns into a pipe, JSON for machines."""

from __future__ import annotations

import dataclasses
import json
import sys
from datetime import date, datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

Json = Annotated[bool, typer.Option("--json", help="JSON instead of a table, for other programs.")]
Site = Annotated[
    str | None, typer.Option("--site", "-s", help="Code of the site; needed when there are several.")
]


def plain(value: Any) -> Any:  # noqa: ANN401  Anything that a list or an act answers.
    """What JSON can carry: dataclasses as objects, days and instants as ISO text, tuples as arrays."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return plain(value._asdict())
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in value]
    return value


def print_json(value: object) -> None:
    """One JSON document on standard output."""
    typer.echo(json.dumps(plain(value), ensure_ascii=False, indent=2))


def print_table(
    columns: Sequence[str], rows: Iterable[Sequence[object]], *, title: str = "", empty: str = "Nothing."
) -> None:
    """A table on a terminal; the same columns, aligned and uncut, into a pipe or a file."""
    cells = [["" if cell is None else str(cell) for cell in row] for row in rows]
    if not cells:
        typer.echo(f"{title}: {empty}" if title else empty)
        return
    if sys.stdout.isatty():
        _rich_table(columns, cells, title)
        return
    if title:
        typer.echo(title)
    widths = [max(len(row[at]) for row in [list(columns), *cells]) for at in range(len(columns))]
    for row in [list(columns), *cells]:
        typer.echo("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())


def _rich_table(columns: Sequence[str], cells: Sequence[Sequence[str]], title: str) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(title=title or None, title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False)
    for column in columns:
        table.add_column(column, overflow="fold")
    for row in cells:
        # Text from the register must not be taken for markup.
        table.add_row(*(cell.replace("[", "\\[") for cell in row))
    Console().print(table)


def print_facts(facts: Mapping[str, object], *, title: str = "") -> None:
    """One thing, a line per fact; what is not known is left out."""
    if title:
        typer.echo(title)
    known = {name: value for name, value in facts.items() if value not in (None, "", ())}
    width = max((len(name) for name in known), default=0)
    for name, value in known.items():
        typer.echo(f"  {name.ljust(width)}  {value}")


def print_cautions(sentences: Iterable[str]) -> None:
    """The cautions under a printout, one to a line."""
    typer.echo("Cautions")
    for sentence in sentences:
        typer.echo(f"  ! {sentence}")
