"""Which kits of the room do for a joint."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door, new_id
from fleet.commands.kits import kit
from fleet.commands.printing import Json, print_cautions, print_facts, print_json, print_line, print_table
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.commands.door import Sitting
    from fleet.desk.reservations import Reserved
    from fleet.lists.kit_answers import Alternative, Asked, FoundKit, KitAnswer


def register(_app: typer.Typer) -> None:
    """Put the command of this module beside the check of a kit."""
    kit.command("find")(find)


def find(
    context: typer.Context,
    job: Annotated[str, typer.Option("--job", "-j", help="For which job.")],
    joint: Annotated[str, typer.Option("--joint", help="Mark of the joint in the job's plan.")],
    margin: Annotated[
        float, typer.Option("--margin", help="Per cent of what the kit can give that must be left.")
    ] = 10.0,
    start: Annotated[str | None, typer.Option("--from", help="Start; the job's own when left out.")] = None,
    end: Annotated[str | None, typer.Option("--to", help="End; a bare day counts as a whole.")] = None,
    alternatives: Annotated[int, typer.Option("--alternatives", help="How many at most.")] = 5,
    number: Annotated[
        int | None, typer.Option("--reserve", metavar="N", help="Reserve this one of them at once.")
    ] = None,
    *,
    as_json: Json = False,
) -> None:
    """Find kits for a planned joint that are strong enough, connect, are free and stay in date.

    The smallest wrenches come first, then what is longest in date, then what need not be moved.
    """
    from fleet.lists.kit_finding import KitQuestion, ask, find_kits

    def search(db: Connection, now: datetime) -> tuple[Asked, KitAnswer]:
        begins, ends = _window(db, job, start, end)
        asked = ask(db, KitQuestion(job, joint, margin, begins, ends, alternatives), now=now)
        return asked, find_kits(db, asked)

    kept: Reserved | None = None
    if number is None:
        with door(context).look() as (db, now):
            asked, answer = search(db, now)
    else:
        # One transaction: what is found is still free when it is kept.
        with door(context).act() as sitting:
            asked, answer = search(sitting.db, sitting.now)
            kept = _keep(sitting, asked, answer, number)
    typed = {"--from": start, "--to": end}
    commands = [_command(asked, one, typed) for one in answer.alternatives]
    if as_json:
        print_json({"answer": answer, "commands": commands, "reserved": kept})
    else:
        _print(asked, answer, commands)
        if kept:
            print_line(f"Reserved {len(kept.verdicts)} items of number {number} for {kept.job}.", fit=True)
    if not answer.alternatives:
        raise NotPossible(f"No kit of {asked.site.code} does for {answer.joint} in this window as it stands.")


def _window(
    db: Connection, job: str, start: str | None, end: str | None
) -> tuple[datetime | None, datetime | None]:
    """What was typed, in the time of the job's site."""
    from fleet.lists.jobs import find_job
    from fleet.measures.times import read_moment, zone

    there = zone(find_job(db, job).time_zone)
    return (
        read_moment(start, there) if start else None,
        read_moment(end, there, end=True) if end else None,
    )


def _keep(sitting: Sitting, asked: Asked, answer: KitAnswer, number: int) -> Reserved | None:
    """Reserve one of the alternatives; nothing where there is none at all."""
    from fleet.desk.reservations import ReserveSlip, reserve

    if not answer.alternatives:
        return None
    if not 1 <= number <= len(answer.alternatives):
        raise NotPossible(f"There is no number {number}; {len(answer.alternatives)} were found.")
    tags = answer.alternatives[number - 1].to_reserve
    if not tags:
        raise NotPossible(f"Everything of number {number} is reserved for {asked.job.code} already.")
    window = asked.window
    slip = ReserveSlip(new_id(), tags, asked.job.code, answer.joint, window.starts_at, window.ends_at)
    return reserve(sitting.db, slip, by=sitting.by, now=sitting.now)


def _command(asked: Asked, one: Alternative, typed: Mapping[str, str | None]) -> str | None:
    """What to type to reserve it."""
    import shlex

    from fleet.commands.showing import tag

    if not one.to_reserve:
        return None
    words = [
        "fleet",
        "reserve",
        *map(tag, one.to_reserve),
        "--job",
        asked.job.code,
        "--joint",
        asked.joint.mark,
    ]
    for option, value in typed.items():
        words += [option, value] if value else []
    return shlex.join(words)


def _print(asked: Asked, answer: KitAnswer, commands: Sequence[str | None]) -> None:
    from fleet.commands.showing import day
    from fleet.rules.cautions import FOR_A_KIT

    units = asked.window.units
    at_once = f", {answer.at_once} kits at once" if answer.at_once > 1 else ""
    print_line(
        f"{answer.joint} needs {units.needed(answer.needed_nm)} and {answer.margin_percent:g} % to spare"
        f"{at_once}, from {day(answer.first_day)} to {day(answer.last_day)}.",
        fit=True,
    )
    typer.echo()
    for number, (one, command) in enumerate(zip(answer.alternatives, commands, strict=True), start=1):
        for kit_number, found in enumerate(one.kits, start=1):
            of = f", kit {kit_number} of {len(one.kits)}" if len(one.kits) > 1 else ""
            _print_kit(f"{number}{of}", found, asked)
        print_line(f"  To reserve number {number}:" if command else f"  All of number {number} is reserved.")
        if command:
            typer.echo(f"    {command}")
        typer.echo()
    for sentence in answer.tallies:
        print_line(sentence, hang=2, fit=True)
    for sentence in answer.hire:
        print_line(f"Hire {sentence}.", hang=2, fit=True)
    _print_left_out(answer)
    if answer.alternatives:
        print_cautions(FOR_A_KIT)


def _print_left_out(answer: KitAnswer) -> None:
    if answer.unknown_sizes:
        names = ", ".join(answer.unknown_sizes)
        print_line(f"Not counted as fitting, as a size is not on record: {names}.", hang=2, fit=True)
    for kind, why, count in answer.stopped:
        print_line(f"Stopped at the gate although free: {count} {kind}, {why}.", hang=2, fit=True)


def _print_kit(title: str, found: FoundKit, asked: Asked) -> None:
    from fleet.commands.showing import day, tag
    from fleet.rules.kit_figures import kit_figures

    rows = [
        (
            piece.kind,
            tag(piece.tag),
            model,
            piece.shelf,
            day(piece.due_on),
            "reserved" if piece.kept else "at the job" if piece.at_job else "",
        )
        for piece, model in zip(found.pieces, found.models, strict=True)
    ]
    print_table(("Kind", "Tag", "Model", "Shelf", "Next due", ""), rows, title=f"Number {title}", fit=True)
    figures = kit_figures(found.verdict, asked.joint, asked.window.units)
    shown = ("Set pressure", "Set on the gauge", "The kit can give", "Cover")
    print_facts(
        {name: figures[name] for name in shown}
        | {
            "Wrench larger than needed by": f"{found.oversize_percent} %",
            "First due": day(found.due_on) or "nothing of it",
            "To be brought": f"{found.moves} of {len(found.pieces)}",
        },
        fit=True,
    )
