"""Holds, their release, and concessions."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.commands.door import door
from fleet.commands.loans import Tag
from fleet.commands.printing import Json, print_json, print_line
from fleet.refusals import NotPossible


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    for command in (hold, release, concession):
        app.command(rich_help_panel="Upkeep")(command)


def hold(
    context: typer.Context,
    asked: Tag,
    reason: Annotated[str, typer.Option("--reason", "-r", help="What is wrong with it.")],
    cause: Annotated[
        str, typer.Option("--cause", help="damaged, inspection, calibration, recall or other.")
    ] = "other",
    *,
    as_json: Json = False,
) -> None:
    """Keep an item in until somebody releases it with evidence."""
    from fleet.commands.asking import one_of
    from fleet.commands.showing import day, tag
    from fleet.desk.holds import open_hold
    from fleet.lists.items import item_facts
    from fleet.rules.conditions import HoldCause

    named = one_of(HoldCause, cause, "cause for a hold")
    with door(context).act() as sitting:
        item = open_hold(sitting.db, asked, named, reason, by=sitting.by, now=sitting.now)
        reserved = item_facts(sitting.db, [item.id], now=sitting.now)[item.id].kept
    if as_json:
        return print_json(item)
    out = f" It is out with {item.holder} for {item.job}: call it back." if item.holder else ""
    print_line(f"{tag(item.tag)} is on hold.{out}")
    for kept in reserved:
        print_line(f"  It is reserved for {kept.job} from {day(kept.first_day)}: tell the planner.", hang=4)
    return None


def release(
    context: typer.Context,
    asked: Tag,
    words: Annotated[str, typer.Option("--words", "-w", help="What the evidence shows, in a sentence.")],
    hold: Annotated[
        int | None, typer.Option("--hold", help="Which hold, when there are several: its number.")
    ] = None,
    inspection: Annotated[
        int | None, typer.Option("--inspection", help="The inspection that found it sound.")
    ] = None,
    repair: Annotated[int | None, typer.Option("--repair", help="The repair that mended it.")] = None,
    proof_test: Annotated[
        int | None, typer.Option("--proof-test", help="The proof test that it passed.")
    ] = None,
    certificate: Annotated[
        int | None, typer.Option("--certificate", help="The accepted certificate.")
    ] = None,
    *,
    every: Annotated[bool, typer.Option("--all", help="Every hold, if the evidence serves each.")] = False,
    as_json: Json = False,
) -> None:
    """Release an item from hold by the number of what was done since: an inspection, a repair and so on."""
    from fleet.commands.showing import tag
    from fleet.desk.holds import ReleaseSlip, release_hold
    from fleet.rules.holds import Shown

    given = [
        (what, number)
        for what, number in zip(Shown, (inspection, repair, proof_test, certificate), strict=True)
        if number is not None
    ]
    if len(given) != 1 or (every and hold is not None):
        raise NotPossible(
            "Name one thing that shows it sound: --inspection, --repair, --proof-test or --certificate, with "
            "its number; and either --hold or --all."
        )
    slip = ReleaseSlip(asked, *given[0], words, hold, every)
    with door(context).act() as sitting:
        done = release_hold(sitting.db, slip, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(done)
    still = ", ".join(map(str, done.still_open))
    rest = f" It is still kept in by hold {still}." if still else ""
    released = ", ".join(map(str, done.released))
    return print_line(f"{tag(done.item.tag)} is released from hold {released}.{rest}")


def concession(
    context: typer.Context,
    asked: Tag,
    task: Annotated[str, typer.Option("--task", "-t", help="The overdue task.")],
    job: Annotated[str, typer.Option("--job", "-j", help="The one job it is for.")],
    asker: Annotated[str, typer.Option("--asked-by", help="Who asked for it: badge or name.")],
    code: Annotated[
        str,
        typer.Option("--because", help="no other item, work already started, checked against a second item."),
    ],
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why this cannot wait, in a sentence.")],
    hours: Annotated[int, typer.Option("--hours", help="How long, at most 24.")] = 24,
    *,
    as_json: Json = False,
) -> None:
    """Let one overdue item out for one job for at most a day. Only a safety officer who did not ask may."""
    from fleet.commands.asking import one_of
    from fleet.commands.showing import moment, tag
    from fleet.desk.holds import ConcessionSlip, grant_concession
    from fleet.lists.jobs import find_job
    from fleet.rules.conditions import ConcessionReason

    because = one_of(ConcessionReason, code, "reason for a concession")
    slip = ConcessionSlip(asked, task, job, asker, because, reason, hours)
    with door(context).act() as sitting:
        granted = grant_concession(sitting.db, slip, by=sitting.by, now=sitting.now)
        zone = find_job(sitting.db, granted.job).time_zone
    if as_json:
        return print_json(granted)
    return print_line(
        f"{tag(granted.tag)} may go out for {granted.job} with its {granted.task} overdue, until "
        f"{moment(granted.ends_at, zone)} ({zone}). It will stand in this week's letter."
    )
