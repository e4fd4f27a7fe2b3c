"""Repairs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door, new_id
from fleet.commands.loans import RequestId, Tag
from fleet.commands.printing import Json, print_json, print_line, print_table
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from fleet.rules.photographs import Photograph


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    app.command(rich_help_panel="Upkeep")(repair)
    app.command("repairs", rich_help_panel="Upkeep")(list_repairs)


def repair(
    context: typer.Context,
    asked: Tag,
    work: Annotated[
        str,
        typer.Option(
            "--work",
            "-w",
            help="seal kit, gauge changed, relief set, coupling changed, drive parts or other.",
        ),
    ],
    description: Annotated[str, typer.Option("--description", help="What was changed, and why.")],
    on: Annotated[str | None, typer.Option("--on", help="Day it was done; today when left out.")] = None,
    photo: Annotated[
        list[Path] | None, typer.Option("--photo", help="A photograph of it; may be given again.")
    ] = None,
    request: RequestId = None,
    *,
    as_json: Json = False,
) -> None:
    """Record a repair, and hear which tasks must be done again before the item goes out."""
    from fleet.commands.asking import asked_day, one_of
    from fleet.commands.showing import tag
    from fleet.desk.repairs import RepairSlip, record_repair
    from fleet.lists.items import find_item
    from fleet.lists.sites import find_site
    from fleet.rules.evidence import Work
    from fleet.rules.upkeep import spoken

    what = one_of(Work, work, "kind of repair work")
    pictures = tuple(_photograph(path) for path in photo or ())
    with door(context).act() as sitting:
        today = find_site(sitting.db, find_item(sitting.db, asked).site).today(sitting.now)
        slip = RepairSlip(request or new_id(), asked, what, description, asked_day(on, today), pictures)
        done = record_repair(sitting.db, slip, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(done)
    again = " It had been recorded before." if done.again else ""
    print_line(f"Repair {done.number} of {tag(done.tag)} is on record ({done.work}).{again}")
    for task in done.due_again:
        print_line(f"  {spoken(task)} must be done again: it stays in until then.", hang=4)
    if done.on_hold:
        print_line("  It is still on hold. See what releases it with: fleet release --help", hang=4)
    return None


def _photograph(path: Path) -> Photograph:
    """Read one file and make the picture of it that is kept."""
    from fleet.rules.photographs import clean_photograph

    try:
        content = path.read_bytes()
    except OSError as error:
        raise NotPossible(f"{path} cannot be read: {error.strerror}.") from error
    return clean_photograph(content, path.name)


def list_repairs(context: typer.Context, asked: Tag, *, as_json: Json = False) -> None:
    """The repairs of one item, the newest first."""
    from fleet.commands.showing import day, tag
    from fleet.lists.items import find_item
    from fleet.lists.repairs import repairs

    with door(context).look() as (db, _now):
        item = find_item(db, asked)
        found = repairs(db, item)
    if as_json:
        return print_json({"item": item, "repairs": found})
    rows = [(r.number, day(r.done_on), r.work, r.description, r.by, r.photographs or "") for r in found]
    columns = ("Repair", "Day", "Work", "What was changed", "By", "Photos")
    return print_table(columns, rows, title=f"{tag(item.tag)}: repairs", empty="none on record")
