"""Recalls."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door
from fleet.commands.grouping import Grouped
from fleet.commands.printing import Json, print_facts, print_json, print_line, print_table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.lists.recalls import RecalledLine

Number = Annotated[int, typer.Argument(metavar="N", help="Number of the recall, from: fleet recall list")]

recall = typer.Typer(
    help="Recalls: keep in whatever a notice is about, at every site.", no_args_is_help=True, cls=Grouped
)


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    recall.command("open")(open_one)
    recall.command("list")(list_all)
    recall.command("show")(show)
    recall.command("end")(end)
    app.add_typer(recall, name="recall", rich_help_panel="Upkeep")


def open_one(
    context: typer.Context,
    model: Annotated[str, typer.Option("--model", help="Designation of the model.")],
    notice: Annotated[str, typer.Option("--notice", help="Whose notice it is, its number and day.")],
    reason: Annotated[str, typer.Option("--reason", "-r", help="What is wrong with them.")],
    serials: Annotated[
        str | None, typer.Option("--serials", help="Only these serial numbers: K-100..K-250.")
    ] = None,
    assembled: Annotated[
        str | None, typer.Option("--assembled", help="Only those assembled then: 2024-01..2024-06, or days.")
    ] = None,
    *,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Only show what it would be about; nothing is changed.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Keep in everything that a notice is about, and say who has what is out. Safety officers only.

    Serial numbers are compared by their last figures, and only where all else in them is the same.
    """
    from fleet.desk.recalls import RecallSlip, look_over, open_recall

    slip = RecallSlip(model, notice, reason, serials, assembled)
    if dry_run:
        with door(context).look() as (db, _now):
            reach = look_over(db, slip)
    else:
        with door(context).act() as sitting:
            reach = open_recall(sitting.db, slip, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(reach)
    away = sum(line.holder is not None for line in reach.meant)
    verb = f"Recall {reach.recall}: on hold now are" if reach.recall else "This would put on hold"
    items = "1 item" if len(reach.meant) == 1 else f"{len(reach.meant)} items"
    print_line(f"{verb} {items} of {reach.model} ({reach.scope}); {away} out.")
    _print_items(reach.meant, title="")
    if reach.unclear:
        _print_items(
            reach.unclear, title="Not compared (other series of serial numbers), look at them by hand:"
        )
    if not reach.recall:
        print_line("Nothing was changed.")
    return None


def _print_items(found: Sequence[RecalledLine], *, title: str) -> None:
    from fleet.commands.showing import day, tag

    rows = [
        (
            tag(line.tag),
            line.serial,
            day(line.assembled_on) or "not known",
            line.site,
            f"CALL BACK from {line.holder}, {line.job}" if line.holder else line.shelf,
        )
        for line in found
    ]
    if rows:
        print_table(("Tag", "Serial", "Assembled", "Site", "Where"), rows, title=title)


def list_all(
    context: typer.Context,
    *,
    ended: Annotated[bool, typer.Option("--ended", help="Those that have ended too.")] = False,
    as_json: Json = False,
) -> None:
    """Recalls, with how many items each still keeps in."""
    from fleet.lists.recalls import recalls

    with door(context).look() as (db, _now):
        found = recalls(db, ended=ended)
    if as_json:
        return print_json(found)
    rows = [
        (
            line.id,
            "ended" if line.ended_at else "OPEN",
            line.model,
            str(line.scope),
            line.notice,
            line.held,
            line.cleared,
        )
        for line in found
    ]
    columns = ("Recall", "", "Model", "Which", "Notice", "Held", "Cleared")
    return print_table(columns, rows, title="Recalls", empty="none open")


def show(context: typer.Context, number: Number, *, as_json: Json = False) -> None:
    """One recall and every item that it is about: where it is, and whether it is cleared."""
    from fleet.commands.showing import tag
    from fleet.lists.recalls import find_recall

    with door(context).look() as (db, _now):
        line, found = find_recall(db, number)
    if as_json:
        return print_json({"recall": line, "items": found})
    facts = {
        "Which": str(line.scope),
        "Notice": line.notice,
        "Reason": line.reason,
        "Opened": f"{line.opened_at:%Y-%m-%d} by {line.opened_by or 'set-up'}",
        "Ended": f"{line.ended_at:%Y-%m-%d}: {line.end_reason}" if line.ended_at else "",
    }
    print_facts(facts, title=f"Recall {line.id}: {line.model}")
    rows = [
        (
            tag(one.tag),
            one.serial,
            one.site,
            f"with {one.holder} for {one.job}" if one.holder else one.shelf,
            _standing(one),
        )
        for one in found
    ]
    return print_table(("Tag", "Serial", "Site", "Where", ""), rows, title="Items")


def _standing(line: RecalledLine) -> str:
    if line.released_at:
        return "released"
    if line.hold:
        return f"on hold ({line.hold})"
    return "stays in" if line.meant else "other series, look at it by hand"


def end(
    context: typer.Context,
    number: Number,
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why it ends: the notice that lifts it.")],
    *,
    as_json: Json = False,
) -> None:
    """End a recall and every hold that it still keeps. Safety officers only."""
    from fleet.commands.showing import tag
    from fleet.desk.recalls import end_recall

    with door(context).act() as sitting:
        ended = end_recall(sitting.db, number, reason, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(ended)
    tags = ", ".join(map(tag, ended.released)) or "nothing; it kept nothing in any more"
    return print_line(f"Recall {number} has ended. Released: {tags}.")
