"""Keeping items for a job, and changing what is kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door, new_id
from fleet.commands.grouping import Grouped
from fleet.commands.loans import RequestId, Tag
from fleet.commands.printing import Json, Site, print_json, print_line, print_table
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.desk.reserved import Changed, ChangeSlip
    from fleet.lists.reservations import ReservationLine, WarningLine
    from fleet.rules.item_classes import Wanted

PANEL = "Planning"
reserved = typer.Typer(help="Change what is reserved.", no_args_is_help=True, cls=Grouped)

Job = Annotated[str, typer.Option("--job", "-j", help="The job it is kept for.")]
Why = Annotated[str, typer.Option("--reason", "-r", help="Why, in a sentence.")]
Number = Annotated[
    int | None, typer.Option("--number", help="Which reservation, when there are several for the job.")
]
Instead = Annotated[
    str | None, typer.Option("--instead", help="The item that takes its place; else the room chooses one.")
]


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    for command in (reserve, reservations):
        app.command(rich_help_panel=PANEL)(command)
    app.add_typer(reserved, name="reserved", rich_help_panel=PANEL)
    app.command("set-free", rich_help_panel=PANEL)(set_free)


def reserve(
    context: typer.Context,
    job: Annotated[str, typer.Option("--job", "-j", help="For which job.")],
    tags: Annotated[list[str] | None, typer.Argument(metavar="TAG", help="Tags or serial numbers.")] = None,
    joint: Annotated[str | None, typer.Option("--joint", help="For which of its joints.")] = None,
    start: Annotated[str | None, typer.Option("--from", help="Start; the job's own when left out.")] = None,
    end: Annotated[str | None, typer.Option("--to", help="End; a bare day counts as a whole.")] = None,
    expires: Annotated[
        str | None, typer.Option("--expires", help="Given up unless fetched by then: a day, or day and time.")
    ] = None,
    request: RequestId = None,
    *,
    kind: Annotated[
        str | None, typer.Option("--any", help="Any item of a kind will do: wrench, pump, hose and so on.")
    ] = None,
    model: Annotated[str | None, typer.Option("--model", help="Any: of this model.")] = None,
    at_least: Annotated[
        str | None,
        typer.Option("--at-least", help="Any: for this pressure; of wrenches, with this torque."),
    ] = None,
    drive: Annotated[str | None, typer.Option("--drive", help='Any: with this square drive, "1 in".')] = None,
    flats: Annotated[str | None, typer.Option("--across-flats", help='Any: for this nut, "55 mm".')] = None,
    coupling: Annotated[
        str | None, typer.Option("--coupling", help="Any: with this coupling, its series and size.")
    ] = None,
    count: Annotated[int, typer.Option("--count", help="Any: how many of them.")] = 1,
    as_json: Json = False,
) -> None:
    """Keep items for a job and window, by tag or any of a class. No item is kept twice for one time."""
    from fleet.commands.kitprints import print_findings
    from fleet.commands.showing import tag, window
    from fleet.desk.reservations import ReserveSlip
    from fleet.desk.reservations import reserve as keep
    from fleet.lists.jobs import find_job
    from fleet.measures.times import read_moment, zone

    asked = {
        "model": model,
        "at_least": at_least,
        "drive": drive,
        "across_flats": flats,
        "coupling": coupling,
    }
    any_of = _class(kind, asked)
    if not tags and any_of is None:
        raise NotPossible("Name the items by their tags, or say with --any which kind will do.")
    with door(context).act() as sitting:
        found = find_job(sitting.db, job)
        there = zone(found.time_zone)
        slip = ReserveSlip(
            request or new_id(),
            tuple(tags or ()),
            job,
            joint,
            read_moment(start, there) if start else None,
            read_moment(end, there, end=True) if end else None,
            any_of,
            count,
            read_moment(expires, there, end=True) if expires else None,
        )
        kept = keep(sitting.db, slip, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(kept)
    first, last = window(kept.starts_at, kept.ends_at, found.time_zone)
    again = " This had been reserved before." if kept.again else ""
    number = len(kept.verdicts) or len(tags or ()) + (count if any_of else 0)
    items = f"{number} {'item' if number == 1 else 'items'}"
    print_line(f"Reserved {items} for {kept.job}, {first} to {last}.{again}")
    if any_of and kept.verdicts:
        chosen = ", ".join(tag(verdict.tag) for verdict in kept.verdicts[len(tags or ()) :])
        print_line(f"  {any_of}: {chosen}", hang=4)
    for verdict in kept.verdicts:
        print_findings(verdict.findings, about=tag(verdict.tag))
    return None


def _class(kind: str | None, asked: dict[str, str | None]) -> Wanted | None:
    from fleet.bolting.parts import Kind
    from fleet.commands.asking import known_kind
    from fleet.rules.item_classes import make_class

    known = known_kind(kind)
    if known:
        return make_class(Kind(known), asked)
    if any(asked.values()):
        raise NotPossible("Say with --any which kind of item is meant, as in --any pump.")
    return None


def reservations(
    context: typer.Context,
    site: Site = None,
    job: Annotated[str | None, typer.Option("--job", "-j", help="Only for this job.")] = None,
    *,
    warned: Annotated[
        bool, typer.Option("--warnings", help="Only what will be missing or stopped, with a swap for it.")
    ] = False,
    as_json: Json = False,
) -> None:
    """What is kept for which job, from when to when."""
    from fleet.lists.jobs import find_job
    from fleet.lists.reservations import reservations as list_reservations
    from fleet.lists.reservations import warnings
    from fleet.lists.sites import find_site, sites

    with door(context).look() as (db, now):
        chosen = find_site(db, site) if site else None
        only = find_job(db, job).code if job else None
        places = [chosen] if chosen else sites(db) if warned else []
        told = [(one.time_zone, line) for one in places if warned for line in warnings(db, one, now)]
        code = chosen.code if chosen else None
        found = [] if warned else list_reservations(db, since=now, site=code, job=only)
    if warned:
        told = [(there, line) for there, line in told if only in (None, line.job)]
        return print_json([line for _, line in told]) if as_json else _print_warnings(told)
    if as_json:
        return print_json(found)
    return print_table(("No.", "Job", "Joint", "Tag", "What", "From", "To"), [_row(r) for r in found])


def _row(line: ReservationLine) -> tuple[object, ...]:
    from fleet.commands.showing import tag, window

    what = f"{line.kind} {line.model}" + (" (any)" if line.any_of else "")
    when = window(line.starts_at, line.ends_at, line.time_zone)
    return line.number, line.job, line.joint, tag(line.tag), what, *when


def _print_warnings(told: list[tuple[str, WarningLine]]) -> None:
    from fleet.commands.showing import tag, window

    if not told:
        return print_line("Nothing stands against what is reserved.")
    for time_zone, line in told:
        first, last = window(line.starts_at, line.ends_at, time_zone)
        joint = f", {line.joint}" if line.joint else ""
        print_line(f"{tag(line.tag)} {line.kind} {line.model}: {line.job}{joint}, {first} to {last}", hang=2)
        print_line(f"  {line.sentence}", hang=4)
        if line.instead:
            print_line(f"  {tag(line.instead)} ({line.instead_model}) could take its place.", hang=4)
        elif line.number is not None and line.matter != "expires":
            print_line("  Nothing else like it is free and in order then.", hang=4)
    return None


@reserved.command("swap")
def swap(
    context: typer.Context,
    asked: Tag,
    job: Job,
    reason: Why,
    instead: Instead = None,
    number: Number = None,
    request: RequestId = None,
    *,
    as_json: Json = False,
) -> None:
    """Let another item take its place: the one named, or one of its class that the room chooses."""
    from fleet.desk import reserved as desk
    from fleet.desk.reserved import ChangeSlip

    slip = ChangeSlip(request or new_id(), asked, job, reason, instead, swap=True, number=number)
    _change(context, job, desk.swap, lambda _there: slip, as_json=as_json)


@reserved.command("extend")
def extend(
    context: typer.Context,
    asked: Tag,
    job: Job,
    end: Annotated[str, typer.Option("--to", help="The new end; a bare day counts as a whole.")],
    reason: Why,
    number: Number = None,
    request: RequestId = None,
    *,
    as_json: Json = False,
) -> None:
    """Let a reservation end later, if the item is free until then."""
    from fleet.desk import reserved as desk
    from fleet.desk.reserved import ChangeSlip
    from fleet.measures.times import read_moment, zone

    def slip(there: str) -> ChangeSlip:
        until = read_moment(end, zone(there), end=True)
        return ChangeSlip(request or new_id(), asked, job, reason, until=until, number=number)

    _change(context, job, desk.extend, slip, as_json=as_json)


@reserved.command("split")
def split(
    context: typer.Context,
    asked: Tag,
    job: Job,
    at: Annotated[str, typer.Option("--at", help="When the second window begins: a day, or day and time.")],
    reason: Why,
    instead: Annotated[
        str | None, typer.Option("--instead", help="The item for the second window; else the same.")
    ] = None,
    number: Number = None,
    request: RequestId = None,
    *,
    another: Annotated[
        bool, typer.Option("--another", help="The room chooses another item for the second window.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Make two windows of one; the second may go to another item."""
    from fleet.desk import reserved as desk
    from fleet.desk.reserved import ChangeSlip
    from fleet.measures.times import read_moment, zone

    def slip(there: str) -> ChangeSlip:
        moment = read_moment(at, zone(there))
        chosen = request or new_id()
        return ChangeSlip(chosen, asked, job, reason, instead, swap=another, split_at=moment, number=number)

    _change(context, job, desk.split, slip, as_json=as_json)


def _change(
    context: typer.Context,
    job: str,
    act: Callable[..., Changed],
    slip: Callable[[str], ChangeSlip],
    *,
    as_json: bool,
) -> None:
    from fleet.commands.kitprints import print_findings
    from fleet.commands.showing import tag, window
    from fleet.lists.jobs import find_job

    with door(context).act() as sitting:
        there = find_job(sitting.db, job).time_zone
        changed = act(sitting.db, slip(there), by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(changed)
    first, last = window(changed.starts_at, changed.ends_at, there)
    again = " This had been done before." if changed.again else ""
    instead = f" in place of {tag(changed.was)}" if changed.was != changed.tag else ""
    print_line(f"{tag(changed.tag)} is reserved for {changed.job}{instead}, {first} to {last}.{again}")
    if changed.verdict:
        print_findings(changed.verdict.findings, about=tag(changed.tag))
    return None


def set_free(
    context: typer.Context,
    asked: Tag,
    job: Job,
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why the job no longer needs it.")],
    *,
    as_json: Json = False,
) -> None:
    """End the reservation of an item for a job."""
    from fleet.commands.showing import tag
    from fleet.desk.reservations import set_free as let_go
    from fleet.lists.jobs import find_job

    with door(context).act() as sitting:
        freed = let_go(sitting.db, asked, job, reason, by=sitting.by, now=sitting.now)
        code = find_job(sitting.db, job).code
    if as_json:
        return print_json({"tag": freed, "job": code})
    return typer.echo(f"{tag(freed)} is no longer reserved for {code}.")
