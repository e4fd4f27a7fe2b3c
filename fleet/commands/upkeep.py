"""What is due, what was done, and what goes out of service."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door, new_id
from fleet.commands.loans import RequestId, Tag
from fleet.commands.printing import Json, Site, print_json, print_line, print_table
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from fleet.desk.upkeep import Done
    from fleet.lists.due import DueLine
    from fleet.lists.upkeep import DoneLine


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    for command in (due, done, retire):
        app.command(rich_help_panel="Upkeep")(command)


def due(
    context: typer.Context,
    site: Site = None,
    within: Annotated[str, typer.Option("--within", "-w", help="How far ahead: 30d or 6w.")] = "30d",
    as_of: Annotated[
        str | None, typer.Option("--as-of", help="Judge what is on record now on this day: 2026-05-04.")
    ] = None,
    *,
    as_json: Json = False,
) -> None:
    """What is due: overdue first, each with where it is, who holds it, and by which clock."""
    from fleet.commands.asking import asked_day
    from fleet.commands.showing import day, tag
    from fleet.lists.due import due as list_due
    from fleet.lists.due_words import say_when, say_where
    from fleet.lists.sites import find_site
    from fleet.measures.times import read_span

    span = read_span(within)
    with door(context).look() as (db, now):
        where = find_site(db, site)
        today = asked_day(as_of, where.today(now))
        found = list_due(db, where.id, until=today + timedelta(days=span), today=today)
    if as_json:
        return print_json({"site": where.code, "as_of": today, "lines": [as_fields(d, today) for d in found]})
    rows = [
        (
            "OVERDUE" if line.overdue(today) else "due",
            tag(line.tag),
            f"{line.kind} {line.model}",
            line.task,
            say_when(line, today),
            say_where(line),
        )
        for line in found
    ]
    late = sum(line.overdue(today) for line in found)
    title = f"{where.name}, {day(today)}: {late} overdue, {len(found) - late} due within {within}"
    return print_table(("", "Tag", "What", "Task", "When", "Where"), rows, title=title, empty="")


def as_fields(line: DueLine, today: date) -> dict[str, object]:
    """A due line for machines, with what the list works out beside what is kept."""
    from fleet.commands.printing import plain

    fields: dict[str, object] = plain(line)
    return fields | {"overdue": line.overdue(today), "by": line.by, "never_done": line.never_done}


def done(
    context: typer.Context,
    asked: Annotated[str | None, typer.Argument(metavar="TAG", help="Tag or serial number.")] = None,
    task: Annotated[
        str | None, typer.Argument(help="Upkeep task, e.g. calibration; without it, what was done is listed.")
    ] = None,
    on: Annotated[str | None, typer.Option("--on", help="Day it was done; today when left out.")] = None,
    note: Annotated[str | None, typer.Option("--note", "-n", help="Certificate number, findings …")] = None,
    withdraw: Annotated[
        int | None, typer.Option("--withdraw", help="Withdraw a mistaken entry: its number.")
    ] = None,
    reason: Annotated[
        str | None, typer.Option("--reason", "-r", help="Why the entry to withdraw is wrong.")
    ] = None,
    request: RequestId = None,
    *,
    as_json: Json = False,
) -> None:
    """Record that an upkeep task was done; or list what was done; or withdraw a mistaken entry."""
    if withdraw is not None:
        if asked or not reason:
            raise NotPossible("To withdraw an entry, give its number and the reason, and nothing else.")
        return _withdraw(context, withdraw, reason, request, as_json=as_json)
    if not asked:
        raise NotPossible("Say of which item: fleet done TAG TASK, or fleet done TAG to see what was done.")
    if task is None:
        return _list_done(context, asked, as_json=as_json)
    return _record(context, (asked, task, on, note), request, as_json=as_json)


def _record(
    context: typer.Context,
    slip: tuple[str, str, str | None, str | None],
    request: str | None,
    *,
    as_json: bool,
) -> None:
    from fleet.commands.asking import asked_day
    from fleet.commands.showing import tag
    from fleet.desk.upkeep import DoneSlip, record_done
    from fleet.lists.items import find_item
    from fleet.lists.sites import find_site
    from fleet.rules.upkeep import spoken

    asked, task, on, note = slip
    with door(context).act() as sitting:
        today = find_site(sitting.db, find_item(sitting.db, asked).site).today(sitting.now)
        given = DoneSlip(request or new_id(), asked, task, asked_day(on, today), note)
        answer = record_done(sitting.db, given, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(answer)
    again = " It had been recorded before." if answer.again else ""
    return print_line(f"{spoken(answer.task)} of {tag(answer.tag)}: next due {_clocks(answer)}.{again}")


def _clocks(answer: Done) -> str:
    """When it is due next, by each of its clocks."""
    from fleet.commands.showing import day
    from fleet.measures.times import show_hours

    clocks = [day(answer.due_on)]
    clocks.append(f"at {answer.due_cycles:,} cycles" if answer.due_cycles is not None else "")
    clocks.append(f"at {show_hours(answer.due_minutes)} pump hours" if answer.due_minutes is not None else "")
    return " or ".join(clock for clock in clocks if clock)


def _withdraw(context: typer.Context, entry: int, reason: str, request: str | None, *, as_json: bool) -> None:
    from fleet.commands.showing import tag
    from fleet.desk.upkeep import withdraw

    with door(context).act() as sitting:
        undone = withdraw(
            sitting.db, entry, reason, client_id=request or new_id(), by=sitting.by, now=sitting.now
        )
    if as_json:
        return print_json(undone)
    again = " That had been done before." if undone.again else ""
    due = _clocks(undone.done)
    now_due = f"; {undone.done.task} is now due {due}" if due else ""
    return print_line(
        f"Entry {undone.entry} withdraws entry {entry} of {tag(undone.done.tag)}{now_due}.{again}"
    )


def _list_done(context: typer.Context, asked: str, *, as_json: bool) -> None:
    from fleet.commands.showing import day, tag
    from fleet.lists.items import find_item
    from fleet.lists.upkeep import upkeep_done

    with door(context).look() as (db, _now):
        item = find_item(db, asked)
        found = upkeep_done(db, item, most=100)
    if as_json:
        return print_json({"item": item, "entries": found})
    rows = [(line.entry, day(line.done_on), line.task, line.by, _rests_on(line)) for line in found]
    columns = ("Entry", "Day", "Task", "By", "Remark")
    return print_table(columns, rows, title=f"{tag(item.tag)}: what was done", empty="nothing on record")


def _rests_on(line: DoneLine) -> str:
    """What proves an entry, or what became of it."""
    if line.withdraws:
        return f"withdraws {line.withdraws}: {line.reason}"
    proofs = (
        ("inspection", line.inspection),
        ("proof test", line.proof_test),
        ("certificate", line.certificate),
    )
    named = [f"{what} {number}" for what, number in proofs if number]
    remark = ", ".join([*named, *([line.note] if line.note else [])])
    return f"WITHDRAWN by {line.withdrawn_by} ({remark})" if line.withdrawn_by else remark


def retire(
    context: typer.Context,
    asked: Tag,
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why it goes out of service.")],
    *,
    as_json: Json = False,
) -> None:
    """Take an item out of service for good; its history stays."""
    from fleet.commands.showing import day, tag
    from fleet.desk.upkeep import retire as take_out
    from fleet.lists.items import item_facts

    with door(context).act() as sitting:
        item = take_out(sitting.db, asked, reason, by=sitting.by, now=sitting.now)
        reserved = item_facts(sitting.db, [item.id], now=sitting.now)[item.id].kept
    if as_json:
        return print_json(item)
    print_line(f"{tag(item.tag)} is retired.")
    for kept in reserved:
        print_line(
            f"  It is still reserved for {kept.job} from {day(kept.first_day)}: find another, and set it "
            f"free with: fleet set-free {tag(item.tag)} --job {kept.job} --reason '...'",
            hang=4,
        )
    return None
