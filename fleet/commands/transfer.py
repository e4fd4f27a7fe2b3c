"""Import and export: the sheets in and out."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fleet.commands.door import door
from fleet.commands.printing import Json, print_json, print_table

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from fleet.desk.imports import ReadFile, Report

_REFUSED = 3
_SHEETS = ("Sheet", "File", "New", "Changed", "Unchanged", "Rejected", "Blank", "Rows")


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    app.command("import", rich_help_panel="Register")(bring_in)
    app.command("export", rich_help_panel="Register")(bring_out)


class _Undone(Exception):  # noqa: N818  Not an error: the transaction is to be undone, and the report kept.
    """Leaves the transaction without saving, and takes the report along."""

    def __init__(self, report: Report) -> None:
        super().__init__()
        self.report = report


def bring_in(
    context: typer.Context,
    files: Annotated[list[Path], typer.Argument(help="CSV or XLSX files, in any order.")],
    *,
    write: Annotated[
        bool,
        typer.Option("--write/--dry-run", help="Save it, or only show what would happen, as without either."),
    ] = False,
    skip_rejected: Annotated[
        bool, typer.Option("--skip-rejected", help="Save the other rows when some are refused.")
    ] = False,
    changes: Annotated[
        bool, typer.Option("--changes", help="Show every value that changes, old and new.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Take in sheets: sites, people, models, items, jobs and the rest. Saves only with --write."""
    read = read_files(files)
    with _progress(wanted=not as_json) as tell:
        report, saved = _carry_out(context, read, tell, write=write, skip_rejected=skip_rejected)
    refused = bool(report.rejections) and not skip_rejected
    if as_json:
        print_json(_as_object(report, saved=saved))
    else:
        _print_report(report, changes=changes)
        typer.echo(_outcome(report, saved=saved, refused=refused))
    if refused:
        raise typer.Exit(_REFUSED)


def _carry_out(
    context: typer.Context,
    files: Sequence[ReadFile],
    tell: Callable[[str, int, int], None],
    *,
    write: bool,
    skip_rejected: bool,
) -> tuple[Report, bool]:
    """Take the files in, and undo it all when it is not to be saved; answer the report, and whether it is."""
    from fleet.desk.imports import import_files

    try:
        with door(context).act() as sitting:
            report = import_files(sitting.db, files, by=sitting.by, now=sitting.now, tell=tell)
            if not write or (report.rejections and not skip_rejected):
                raise _Undone(report)  # noqa: TRY301  It is raised to leave the transaction.
    except _Undone as undone:
        return undone.report, False
    return report, True


def read_files(paths: Sequence[Path]) -> list[ReadFile]:
    """Read files from disk, before any transaction begins. Refuses what is no file or cannot be read."""
    from fleet.desk.imports import read_file
    from fleet.refusals import Unreadable

    read = []
    for path in paths:
        try:
            content = path.read_bytes()
        except IsADirectoryError:
            raise Unreadable(f"{path} is a folder. Name the files in it, such as {path}/*.csv.") from None
        except OSError as error:
            raise Unreadable(f"{path} cannot be read: {error.strerror}.") from error
        read.append(read_file(path.name, content))
    return read


@contextmanager
def _progress(*, wanted: bool) -> Iterator[Callable[[str, int, int], None]]:
    """What is being done and how far it is, on a terminal; silence elsewhere."""
    if not wanted or not sys.stderr.isatty():
        yield lambda _what, _done, _of: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("", total=None)

        def tell(what: str, done: int, of: int) -> None:
            progress.update(task, description=what.replace("[", "\\["), completed=done, total=of)

        yield tell


def _as_object(report: Report, *, saved: bool) -> dict[str, Any]:
    return {
        "saved": saved,
        "tables": report.tables,
        "rejections": report.rejections,
        "changes": report.changes,
        "notes": report.notes,
    }


def _print_report(report: Report, *, changes: bool) -> None:
    for note in report.notes:
        typer.echo(f"Note: {note}")
    print_table(
        _SHEETS,
        [
            (one.sheet, one.file, one.new, one.changed, one.unchanged, one.rejected, one.blank, one.rows)
            for one in report.tables
        ],
    )
    if changes:
        print_table(
            ("Sheet", "About", "Column", "Old", "New"),
            [(one.sheet, one.about, one.column, one.old, one.new) for one in report.changes],
            title="Changes",
            empty="none.",
        )
    if report.rejections:
        print_table(
            ("Row", "Column", "Value", "Rule", "What is wrong"),
            [
                (f"{one.file}: {one.row}", one.column, " ".join(one.value.split()), one.rule, one.sentence)
                for one in report.rejections
            ],
            title="Refused",
        )


def _outcome(report: Report, *, saved: bool, refused: bool) -> str:
    """The last line: what is saved, or what to do next."""
    rows = "1 row is" if report.rejected == 1 else f"{report.rejected:,} rows are"
    if refused:
        return f"Nothing was saved: {rows} refused. Put that right, or save the rest with --skip-rejected."
    left_out = f" {rows} left out." if report.rejected else ""
    new = sum(one.new for one in report.tables)
    changed = sum(one.changed for one in report.tables)
    if not new and not changed:
        return f"Nothing to save: what these files say is on record already.{left_out}"
    if saved:
        return f"Saved: {new:,} new, {changed:,} changed.{left_out}"
    return f"Nothing is saved yet: {new:,} new, {changed:,} changed.{left_out} Save with --write."


def bring_out(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(help="Where to write; made when it does not exist.")],
    *,
    sheets: Annotated[
        str | None, typer.Option("--sheets", help="Only these, such as items,models. Else all.")
    ] = None,
    xlsx: Annotated[
        bool, typer.Option("--xlsx", help="One workbook instead of a CSV file per sheet.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Write the sheets back as they are imported: one CSV file each, or one workbook."""
    from fleet.commands.sheetfiles import write_csv, write_workbook
    from fleet.lists.exports import export_sheets

    names = _names(sheets)
    with door(context).look() as (db, _):
        found = export_sheets(db, names)
    written = write_workbook(folder, found) if xlsx else write_csv(folder, found)
    counts = [{"sheet": one.name, "rows": len(one.rows)} for one in found]
    if as_json:
        print_json({"files": [str(path) for path in written], "sheets": counts})
        return
    print_table(("Sheet", "Rows"), [(one.name, len(one.rows)) for one in found])
    typer.echo(f"Written to {written[0] if len(written) == 1 else folder}.")


def _names(asked: str | None) -> list[str] | None:
    """The sheets asked for, whatever their case and spacing."""
    if asked is None:
        return None
    from fleet.refusals import NotFound
    from fleet.rules.headings import plain
    from fleet.rules.nearest import hint
    from fleet.rules.sheets import SHEETS

    known = {plain(sheet.name): sheet.name for sheet in SHEETS}
    for name in asked.split(","):
        if plain(name) not in known:
            listed = ", ".join(known.values())
            raise NotFound(
                f'There is no sheet "{name.strip()}". Known: {listed}.{hint(name.strip(), known.values())}'
            )
    return [known[plain(name)] for name in asked.split(",")]
