"""Templates of joints."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.commands.door import door
from fleet.commands.grouping import Grouped
from fleet.commands.printing import Json, print_facts, print_json, print_table

template = typer.Typer(
    help="Templates of joints, which a sheet of joints may name.", no_args_is_help=True, cls=Grouped
)


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    template.command("list")(list_all)
    template.command("show")(show)
    app.add_typer(template, name="template", rich_help_panel="Planning")


def list_all(context: typer.Context, *, as_json: Json = False) -> None:
    """Every template of a joint. A sheet named "joint templates" brings them in."""
    from fleet.lists.templates import templates

    with door(context).look() as (db, _now):
        found = templates(db)
    if as_json:
        return print_json(found)
    rows = [(t.template, t.bolts, t.thread, t.torque_written, t.wrenches_at_once) for t in found]
    columns = ("Template", "Bolts", "Thread", "Target torque", "Wrenches at once")
    return print_table(columns, rows, empty="No joint template on record yet. Import a sheet of them first.")


def show(
    context: typer.Context,
    name: Annotated[str, typer.Argument(metavar="TEMPLATE", help="Name of the template.")],
    *,
    as_json: Json = False,
) -> None:
    """One template: what is copied into a joint that names it."""
    from fleet.lists.templates import find_template

    with door(context).look() as (db, _now):
        t = find_template(db, name)
    if as_json:
        return print_json(t)
    factor = t.loosening_factor and f"{t.loosening_factor:g} × ({t.loosening_reason})"
    return print_facts(
        {
            "Bolts": t.bolts,
            "Thread": t.thread,
            "Nut series": t.nut_series,
            "Across flats": t.across_flats_written,
            "Target torque": t.torque_written,
            "Tolerance": t.tolerance_percent and f"{t.tolerance_percent:g} %",
            "Loosening": factor,
            "Turn of one nut": t.turn_degrees and f"{t.turn_degrees:g}°",
            "Duration": t.duration_minutes and f"{t.duration_minutes} min",
            "Wrenches at once": t.wrenches_at_once,
            "Head": t.head,
            "Square drive": t.drive_written,
            "Widest": t.widest_written,
            "Highest": t.highest_written,
            "Heaviest": t.heaviest_written,
        },
        title=t.template,
    )
