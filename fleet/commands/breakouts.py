"""Breakouts: at which torque nuts were measured to break loose."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door, new_id
from fleet.commands.grouping import Grouped
from fleet.commands.printing import Json, Site, print_json, print_line, print_table
from fleet.refusals import NotPossible, Unreadable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.engine import Connection

    from fleet.ledgers.breakouts import Breakout
    from fleet.lists.breakouts import BreakoutLine

RequestId = Annotated[
    str | None,
    typer.Option("--id", help="An id of your own: a request repeated with it is carried out once."),
]

breakout = typer.Typer(
    help="At which torque nuts broke loose: kept per joint, offered next time.",
    no_args_is_help=True,
    cls=Grouped,
)


def register(app: typer.Typer) -> None:
    """Put the group on the app."""
    app.add_typer(breakout, name="breakout", rich_help_panel="Planning")


def told_breakouts(
    db: Connection, tags: Sequence[str], texts: Sequence[str]
) -> dict[int, tuple[tuple[str, str], ...]]:
    """Breakouts written as JOINT=6200 psi, by the place of the one wrench among the tags."""
    from fleet.bolting.parts import Kind
    from fleet.lists.items import find_item

    if not texts:
        return {}
    wrenches = [at for at, tag in enumerate(tags) if find_item(db, tag).kind == Kind.WRENCH]
    if len(wrenches) != 1:
        raise NotPossible(
            "A breakout belongs to one wrench: return that wrench by itself, or with parts that are none."
        )
    return {wrenches[0]: tuple(_told(text) for text in texts)}


def _told(text: str) -> tuple[str, str]:
    """Joint and reading; the last = parts them, as a mark may hold one."""
    joint, _, reading = text.rpartition("=")
    if not (joint.strip() and reading.strip()):
        raise Unreadable(f"{text!r} names no joint and reading: write it like 'F-1=6200 psi'.")
    return joint.strip(), reading.strip()


def said(one: Breakout) -> str:
    """What was kept, in words."""
    pressure = f", read at {one.pressure_written}" if one.pressure_written else ""
    return f"{one.entry} at {one.joint}: {one.torque_written}{pressure}, {one.factor:.2f} × its target torque"


@breakout.command("add")
def add(
    context: typer.Context,
    joint: Annotated[str, typer.Argument(metavar="JOINT", help="Mark of the joint in the job's plan.")],
    reading: Annotated[
        str, typer.Argument(metavar="READING", help='Torque or pump pressure: "1900 N·m", "6200 psi".')
    ],
    job: Annotated[str, typer.Option("--job", "-j", help="On which job it was measured.")],
    item: Annotated[
        str | None, typer.Option("--item", "-i", help="Tag of the wrench; a pressure needs it.")
    ] = None,
    on: Annotated[str | None, typer.Option("--on", help="Day it was measured; today when left out.")] = None,
    note: Annotated[str | None, typer.Option("--note", "-n", help="What else was seen.")] = None,
    request: RequestId = None,
    *,
    as_json: Json = False,
) -> None:
    """Record at which torque or pump pressure a nut broke loose."""
    from fleet.desk.breakouts import record_breakout
    from fleet.ledgers.breakouts import Told
    from fleet.measures.times import read_day

    told = Told(request or new_id(), joint, reading, item, read_day(on) if on else None, note)
    with door(context).act() as sitting:
        kept = record_breakout(sitting.db, job, told, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(kept)
    again = " It had been recorded before." if kept.again else ""
    return print_line(f"Breakout {said(kept)}.{again}")


@breakout.command("list")
def show(
    context: typer.Context,
    joint: Annotated[str | None, typer.Option("--joint", help="Only this joint, by its mark.")] = None,
    site: Site = None,
    *,
    as_json: Json = False,
) -> None:
    """What was measured at each joint, over all jobs; the same mark at a site is the same joint."""
    from fleet.commands.showing import day, tag
    from fleet.lists.breakouts import breakouts
    from fleet.lists.sites import find_site

    with door(context).look() as (db, _now):
        found = breakouts(db, site=find_site(db, site).code if site else None, mark=joint)
    if as_json:
        return print_json(found)
    rows = [
        (
            line.entry,
            line.joint,
            line.job,
            day(line.measured_on),
            tag(line.tag) if line.tag else "",
            line.torque_written,
            line.pressure_written or "",
            _remark(line),
        )
        for line in found
    ]
    columns = ("Entry", "Joint", "Job", "Day", "Wrench", "Torque", "Pressure", "Remark")
    return print_table(columns, rows, empty="No breakout was measured yet.")


def _remark(line: BreakoutLine) -> str:
    if line.withdraws is not None:
        return f"withdraws {line.withdraws}: {line.reason}"
    return f"withdrawn by {line.withdrawn_by}" if line.withdrawn_by is not None else line.note or ""


@breakout.command("withdraw")
def withdraw(
    context: typer.Context,
    entry: Annotated[int, typer.Argument(help="Number of the entry, from: fleet breakout list")],
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why the entry is wrong.")],
    request: RequestId = None,
    *,
    as_json: Json = False,
) -> None:
    """Take a wrong breakout back by a second entry; the first stays readable and counts for nothing."""
    from fleet.desk.breakouts import withdraw_breakout

    with door(context).act() as sitting:
        kept = withdraw_breakout(
            sitting.db, entry, reason, client_id=request or new_id(), by=sitting.by, now=sitting.now
        )
    if as_json:
        return print_json(kept)
    again = " That had been done before." if kept.again else ""
    return print_line(f"Entry {kept.entry} withdraws breakout {entry}, which counts for nothing now.{again}")
