"""Printouts: tables on a terminal, plain columns into a pipe, JSON for machines.

What ``fit`` is said of is read by people even where it is piped, as a calculation is: it keeps to the width
of the terminal, or to 80 columns where there is none.
"""

from __future__ import annotations

import dataclasses
import json
import shutil
import sys
import textwrap
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
    columns: Sequence[str],
    rows: Iterable[Sequence[object]],
    *,
    title: str = "",
    empty: str = "Nothing.",
    fit: bool = False,
) -> None:
    """A table on a terminal; into a pipe the same columns, aligned and uncut, unless they must fit."""
    found = [list(row) for row in rows]
    cells = [["" if cell is None else str(cell) for cell in row] for row in found]
    if not cells:
        print_line(": ".join(part for part in (title, empty) if part), fit=fit)
        return
    if title:
        print_line(title, fit=fit)
    counts = [all(isinstance(row[at], int) for row in found) for at in range(len(columns))]
    if fit or sys.stdout.isatty():
        _rich_table(columns, cells, counts, _columns())
        return
    widths = [max(len(row[at]) for row in [list(columns), *cells]) for at in range(len(columns))]
    for row in [list(columns), *cells]:
        fields = zip(row, widths, counts, strict=True)
        typer.echo("  ".join(_justified(cell, width, count) for cell, width, count in fields).rstrip())


def _columns() -> int:
    """How many columns there are to print in: the terminal's, or 80."""
    return max(shutil.get_terminal_size().columns, 40)


def _justified(cell: str, width: int, is_count: bool) -> str:  # noqa: FBT001  One of a row of columns.
    return cell.rjust(width) if is_count else cell.ljust(width)


def _rich_table(
    columns: Sequence[str], cells: Sequence[Sequence[str]], counts: Sequence[bool], room: int
) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False, width=room)
    widths = _widths([list(columns), *cells], room)
    # As narrow as can be read: a terminal may have 80 columns.
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0))
    for column, is_count, width in zip(columns, counts, widths, strict=True):
        table.add_column(column, overflow="fold", justify="right" if is_count else "left", width=width)
    for row in cells:
        # Text from the register must not be taken for markup.
        table.add_row(*(cell.replace("[", "\\[") for cell in row))
    with console.capture() as drawn:
        console.print(table)
    for line in drawn.get().splitlines():
        typer.echo(line.rstrip())
    typer.echo()


def _widths(rows: Sequence[Sequence[str]], room: int) -> list[int | None]:
    """How wide each column is to be so that no word is broken; None for all where that cannot be."""
    columns = list(zip(*rows, strict=True))
    widths = [max(map(len, cells)) for cells in columns]
    least = [max((len(word) for cell in cells for word in cell.split()), default=0) for cells in columns]
    gaps = 2 * (len(columns) - 1)
    while sum(widths) + gaps > room:
        spare = [at for at, width in enumerate(widths) if width > least[at]]
        if not spare:
            return [None] * len(columns)
        widths[max(spare, key=widths.__getitem__)] -= 1
    return list(widths)


def print_line(text: str, *, hang: int = 0, err: bool = False, fit: bool = False) -> None:
    """One line; on a terminal it is broken between words, what follows indented by ``hang``."""
    stream = sys.stderr if err else sys.stdout
    if fit or stream.isatty():
        text = textwrap.fill(
            text,
            _columns(),
            subsequent_indent=" " * hang,
            break_long_words=False,
            break_on_hyphens=False,
        )
    typer.echo(text, err=err)


def print_facts(facts: Mapping[str, object], *, title: str = "", fit: bool = False) -> None:
    """One thing, a line per fact; what is not known is left out."""
    if title:
        print_line(title, fit=fit)
    known = {name: value for name, value in facts.items() if value not in (None, "", ())}
    width = max((len(name) for name in known), default=0)
    for name, value in known.items():
        print_line(f"  {name.ljust(width)}  {value}", hang=width + 4, fit=fit)


def print_cautions(sentences: Iterable[str]) -> None:
    """The cautions under a printout."""
    typer.echo("Cautions")
    for sentence in sentences:
        print_line(f"  ! {sentence}", hang=4, fit=True)
