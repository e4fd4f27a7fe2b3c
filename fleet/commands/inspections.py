"""Inspections: recorded, listed, shown, withdrawn; their photographs taken out again."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door, new_id
from fleet.commands.grouping import Grouped
from fleet.commands.loans import RequestId, Tag
from fleet.commands.printing import Json, print_facts, print_json, print_line, print_table
from fleet.refusals import NotPossible, Unreadable

if TYPE_CHECKING:
    from fleet.desk.inspections import Inspected, Shot
    from fleet.lists.inspections import InspectionLine, InspectionSheet
    from fleet.rules.checklists import Checklist
    from fleet.rules.inspections import Given

inspection = typer.Typer(help="Show or withdraw one inspection.", no_args_is_help=True, cls=Grouped)
photo = typer.Typer(help="Take kept photographs out again.", no_args_is_help=True, cls=Grouped)

Number = Annotated[int, typer.Argument(metavar="NUMBER", help="Number of the inspection.")]


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    for command in (inspect, inspections):
        app.command(rich_help_panel="Upkeep")(command)
    inspection.command()(show)
    inspection.command()(withdraw)
    photo.command()(save)
    app.add_typer(inspection, name="inspection", rich_help_panel="Upkeep")
    app.add_typer(photo, name="photo", rich_help_panel="Upkeep")


def inspect(
    context: typer.Context,
    asked: Tag,
    occasion: Annotated[str, typer.Option("--occasion", "-o", help="before use, periodic or after event.")],
    task: Annotated[
        str | None, typer.Option("--task", "-t", help="Upkeep task that this does; found when there is one.")
    ] = None,
    answers: Annotated[
        list[str] | None,
        typer.Option("--answer", "-a", help="1=fine, '2=note: ...' or '3=reject: ...'; once per checkpoint."),
    ] = None,
    *,
    photographs: Annotated[
        list[str] | None,
        typer.Option("--photo", "-p", help="A JPEG or PNG file; '3=FILE' when it shows checkpoint 3."),
    ] = None,
    on: Annotated[str | None, typer.Option("--on", help="Day of the inspection; today if left out.")] = None,
    note: Annotated[str | None, typer.Option("--note", "-n", help="Anything else worth knowing.")] = None,
    request: RequestId = None,
    all_fine: Annotated[
        bool, typer.Option("--all-fine", help="Every other checkpoint was looked at and is fine.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Record an inspection by its checklist; a reject puts the item on hold at once."""
    from fleet.commands.asking import asked_day, one_of
    from fleet.desk.inspections import InspectionSlip, record_inspection
    from fleet.lists.items import find_item
    from fleet.lists.sites import find_site
    from fleet.rules.evidence import Occasion
    from fleet.rules.inspections import read_answer

    why = one_of(Occasion, occasion, "occasion for an inspection")
    given, version = [read_answer(text) for text in answers or ()], None
    shots = tuple(_shot(text) for text in photographs or ())
    if not given and not all_fine and not as_json and sys.stdin.isatty():
        given, version = _asked_at_the_terminal(context, asked)
    with door(context).act() as sitting:
        today = find_site(sitting.db, find_item(sitting.db, asked).site).today(sitting.now)
        slip = InspectionSlip(
            client_id=request or new_id(),
            item=asked,
            occasion=why,
            answers=tuple(given),
            inspected_on=asked_day(on, today),
            all_fine=all_fine,
            task=task,
            note=note,
            shots=shots,
            checklist_version=version,
        )
        done = record_inspection(sitting.db, slip, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(done)
    return _say(done)


def _say(done: Inspected) -> None:
    from fleet.commands.showing import tag
    from fleet.rules.upkeep import spoken

    again = " It had been recorded before." if done.again else ""
    print_line(f"Inspection {done.number} of {tag(done.tag)}, {done.occasion}: {done.result}.{again}")
    if done.fulfilled:
        print_line(f"  {spoken(done.fulfilled)} is done.", hang=4)
    if done.held:
        print_line("  It is on hold: it stays in until somebody releases it with evidence.", hang=4)


def _shot(text: str) -> Shot:
    """One photograph from disk, made clean before any transaction begins."""
    import re

    from fleet.desk.inspections import Shot
    from fleet.rules.photographs import MOST_BYTES, clean_photograph

    numbered = re.fullmatch(r"\s*([0-9]{1,3})\s*=(.+)", text)
    path = Path(numbered[2] if numbered else text)
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise Unreadable(f"The photograph {path} cannot be read: {error.strerror}.") from error
    return Shot(clean_photograph(content, path.name), int(numbered[1]) if numbered else None)


def _asked_at_the_terminal(context: typer.Context, asked: str) -> tuple[list[Given], int]:
    """Ask for every checkpoint; answers what was said, and the version that was asked."""
    from fleet.commands.showing import tag
    from fleet.lists.checklists import find_checklist
    from fleet.lists.items import find_item

    with door(context).look() as (db, _now):
        item = find_item(db, asked)
        checklist = find_checklist(db, item.kind)
    print_line(f"{tag(item.tag)}: {item.kind} {item.model}, serial {item.serial}.")
    print_line("Answer f (fine), n (note) or r (reject) for each checkpoint. Ctrl-C records nothing.")
    try:
        return _ask_each(checklist), checklist.version
    except typer.Abort:
        typer.echo()
        raise NotPossible("Nothing was recorded.") from None


def _ask_each(checklist: Checklist) -> list[Given]:
    from fleet.rules.evidence import Answer
    from fleet.rules.inspections import SHORTEST_REMARK, Given

    by_letter = {answer.value[0]: answer for answer in Answer}
    given = []
    for at, point in enumerate(checklist.points, start=1):
        print_line(f"{at} of {len(checklist.points)}  {point}", hang=4)
        letter = ""
        while letter[:1] not in by_letter:
            letter = typer.prompt("  f/n/r", default="", show_default=False).strip().casefold()
        remark = ""
        while letter[0] != "f" and len(remark) < SHORTEST_REMARK:
            remark = typer.prompt("  What was seen", default="", show_default=False).strip()
        given.append(Given(at, by_letter[letter[0]], remark or None))
    return given


def inspections(context: typer.Context, asked: Tag, *, as_json: Json = False) -> None:
    """The inspections of one item, newest first."""
    from fleet.commands.showing import day, tag
    from fleet.lists.inspections import inspections as list_inspections
    from fleet.lists.items import find_item

    with door(context).look() as (db, _now):
        item = find_item(db, asked)
        found = list_inspections(db, item.id)
    if as_json:
        return print_json({"item": item, "inspections": found})
    rows = [
        (
            one.number,
            day(one.inspected_on),
            one.occasion,
            one.task,
            one.result if one.counts else "withdrawn",
            one.by_name,
            one.photographs or None,
            _remark(one),
        )
        for one in found
    ]
    head = ("No", "Day", "Occasion", "Task", "Result", "By", "Photos", "Remark")
    return print_table(head, rows, title=f"Inspections of {tag(item.tag)}", empty="none.")


def _remark(one: InspectionLine) -> str:
    if one.withdraws:
        return f"withdraws {one.withdraws}: {one.reason}"
    return f"withdrawn by {one.withdrawn_by}" if one.withdrawn_by else one.note or ""


def show(context: typer.Context, number: Number, *, as_json: Json = False) -> None:
    """One inspection with every checkpoint as it was asked, and its photographs."""
    from fleet.lists.inspections import find_inspection

    with door(context).look() as (db, _now):
        sheet = find_inspection(db, number)
    if as_json:
        return print_json(sheet)
    return _print_sheet(sheet)


def _print_sheet(sheet: InspectionSheet) -> None:
    from fleet.commands.showing import day, moment, tag

    one = sheet.inspection
    facts = {
        "Occasion": one.occasion,
        "Day": day(one.inspected_on),
        "Task": one.task,
        "Result": one.result,
        "By": f"{one.by_name}, recorded {moment(one.recorded_at, one.time_zone)}",
        "Meter": f"{one.cycles_at:,} cycles, {one.minutes_at:,} pump minutes",
        "Checklist": f"version {one.checklist_version}",
        "Note": one.note,
        "Withdrawn": _remark(one) if not one.counts else None,
    }
    print_facts(facts, title=f"Inspection {one.number} of {tag(one.tag)}")
    rows = [(line.position, line.answer, line.wording, line.remark) for line in sheet.answers]
    print_table(("No", "Answer", "Checkpoint", "Remark"), rows)
    for photograph in sheet.photographs:
        of = f", checkpoint {photograph.position}" if photograph.position else ""
        print_line(f"Photograph {photograph.sha256[:16]} ({photograph.size:,} bytes{of})")
    if sheet.photographs:
        print_line("Take one out with: fleet photo save DIGEST FILE")


def withdraw(
    context: typer.Context,
    number: Number,
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why it counts no longer.")],
    request: RequestId = None,
    *,
    as_json: Json = False,
) -> None:
    """Withdraw a mistaken inspection by a second entry; both stay readable."""
    from fleet.commands.showing import tag
    from fleet.desk.withdrawals import withdraw_inspection
    from fleet.rules.evidence import Answer

    with door(context).act() as sitting:
        gone = withdraw_inspection(
            sitting.db, number, reason, client_id=request or new_id(), by=sitting.by, now=sitting.now
        )
    if as_json:
        return print_json(gone)
    again = " That had been done before." if gone.again else ""
    print_line(f"Entry {gone.number} withdraws inspection {number} of {tag(gone.tag)}.{again}")
    if gone.entries:
        print_line("  The upkeep that it did is withdrawn with it, and due as before.", hang=4)
    if gone.result == Answer.REJECT:
        print_line("  The hold that it opened stays until somebody releases it with evidence.", hang=4)
    if gone.held:
        print_line("  It had released a hold, so the item is on hold again.", hang=4)
    return None


def save(
    context: typer.Context,
    digest: Annotated[str, typer.Argument(help="Its digest, or the beginning of it.")],
    file: Annotated[Path, typer.Argument(help="Where to write it; must not exist yet.")],
    *,
    as_json: Json = False,
) -> None:
    """Write a kept photograph to a file."""
    from fleet.lists.photographs import find_photograph

    with door(context).look() as (db, _now):
        found = find_photograph(db, digest)
    try:
        with file.open("xb") as target:
            target.write(found.content)
    except FileExistsError:
        raise NotPossible(f"{file} exists already. Nothing was written.") from None
    except OSError as error:
        raise NotPossible(f"{file} cannot be written: {error.strerror}.") from error
    if as_json:
        return print_json({"file": str(file), "sha256": found.sha256, "media_type": found.media_type})
    return print_line(f"{file} is written ({found.media_type}).")
