"""At the counter: issue, return, what is out, and the usage ledger."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door, new_id
from fleet.commands.printing import Json, print_json, print_line, print_table
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fleet.commands.door import Sitting
    from fleet.desk.loans import IssueSlip
    from fleet.desk.usage import Booked
    from fleet.rules.loans import Verdict

Tags = Annotated[list[str], typer.Argument(metavar="TAG", help="Tags or serial numbers.")]
Tag = Annotated[str, typer.Argument(metavar="TAG", help="Tag or serial number.")]
RequestId = Annotated[
    str | None,
    typer.Option("--id", help="An id of your own: a request repeated with it is carried out once."),
]


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    panel = "At the counter"
    app.command(rich_help_panel=panel)(issue)
    app.command("return", rich_help_panel=panel)(take_back)
    app.command(rich_help_panel=panel)(usage)
    app.command("note-use", rich_help_panel=panel)(note_use)
    app.command("reverse-use", rich_help_panel=panel)(reverse_use)


def issue(
    context: typer.Context,
    tags: Tags,
    borrower: Annotated[str, typer.Option("--to", help="Who takes them: badge or name.")],
    job: Annotated[str, typer.Option("--job", "-j", help="For which job.")],
    back: Annotated[str, typer.Option("--back", help="Day they are to be back: 2026-05-04 or 4 May 2026.")],
    request: RequestId = None,
    *,
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Issue without asking again.")] = False,
    as_json: Json = False,
) -> None:
    """Hand items out: shows first what goes out and what stays in, and why."""
    from fleet.commands.printing import plain
    from fleet.desk.loans import IssueSlip
    from fleet.desk.loans import issue as hand_out
    from fleet.measures.times import read_day

    slip = IssueSlip(request or new_id(), tuple(tags), borrower, job, read_day(back))
    whom = _preview(context, slip, yes=yes, as_json=as_json)
    with door(context).act() as sitting:
        issued = hand_out(sitting.db, slip, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json({"issued": True} | plain(issued))
    again = " It had been issued before." if issued.again else ""
    return print_line(f"Issued: loan {issued.loan}, {_items(tags)} to {whom}.{again}")


def _preview(context: typer.Context, slip: IssueSlip, *, yes: bool, as_json: bool) -> str:
    """Show what goes out and what stays in, and ask; answers to whom and for which job, as on record."""
    from fleet.desk.loans import issued_before, look_over
    from fleet.lists.jobs import find_job
    from fleet.lists.people import find_person

    with door(context).look() as (db, now):
        whom = f"{find_person(db, slip.borrower).name} for {find_job(db, slip.job).code}"
        if issued_before(db, slip):
            return whom
        _job, found = look_over(db, slip, now=now)
    verdicts = list(found.values())
    if not as_json:
        print_verdicts(verdicts)
    if not all(verdict.goes_out for verdict in verdicts):
        if as_json:
            print_json({"issued": False, "verdicts": verdicts})
        raise NotPossible("Nothing was issued. Leave out what stays in, or see to it first.")
    if not (yes or as_json) and not _confirmed(f"Issue {_items(slip.items)} to {whom}?"):
        raise NotPossible("Nothing was issued. Say --yes to issue.")
    return whom


def _items(tags: Sequence[str]) -> str:
    return f"{len(tags)} {'item' if len(tags) == 1 else 'items'}"


def _confirmed(question: str) -> bool:
    """Ask on a terminal; without one nobody can answer, so the answer is no. So it is to Ctrl-C."""
    try:
        return sys.stdin.isatty() and typer.confirm(question)
    except typer.Abort:
        typer.echo()
        return False


def print_verdicts(verdicts: Iterable[Verdict], *, fit: bool = False) -> None:
    """A line per item: goes out or stays in, and every reason."""
    from fleet.commands.showing import tag

    rows = []
    for verdict in verdicts:
        reasons = [finding.sentence for finding in verdict.findings] or [""]
        rows.append((tag(verdict.tag), "goes out" if verdict.goes_out else "STAYS IN", reasons[0]))
        rows.extend(("", "", reason) for reason in reasons[1:])
    print_table(("Tag", "", "Because"), rows, fit=fit)


def take_back(
    context: typer.Context,
    tags: Tags,
    cycles: Annotated[int | None, typer.Option("--cycles", "-c", help="Cycles that they were used.")] = None,
    minutes: Annotated[int | None, typer.Option("--minutes", "-m", help="Pump minutes of use.")] = None,
    condition: Annotated[str, typer.Option("--condition", help="fine, needs attention or damaged.")] = "fine",
    note: Annotated[str | None, typer.Option("--note", "-n", help="What was seen.")] = None,
    breakouts: Annotated[
        list[str] | None,
        typer.Option(
            "--breakout", help="Where a nut broke loose: 'JOINT=6200 psi', or its torque. May be repeated."
        ),
    ] = None,
    request: RequestId = None,
    *,
    joint: Annotated[
        str | None, typer.Option("--joint", help="The one joint of its job that they were used on.")
    ] = None,
    as_planned: Annotated[
        bool, typer.Option("--as-planned", help="Use as planned for its joints, or for its kit's wrench.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Take items back: books their use; damage puts an item on hold at once.

    Of a kit that comes back together, the wrench gets the cycles, the pump its minutes, all else both.
    """
    from fleet.commands.asking import one_of
    from fleet.commands.breakouts import said, told_breakouts
    from fleet.desk.returns import ReturnSlip
    from fleet.desk.returns import take_back as close_loan
    from fleet.rules.conditions import Condition

    _check_use_given(cycles, minutes, as_planned=as_planned)
    state = one_of(Condition, condition, "condition")
    if state is Condition.DAMAGED and not note:
        raise NotPossible("Say with --note what is damaged; it becomes the reason for the hold.")
    stem = request or new_id()
    with door(context).act() as sitting:
        told = told_breakouts(sitting.db, tags, breakouts or ())
        shares = _shares(sitting, tags, cycles, minutes)
        receipts = [
            close_loan(
                sitting.db,
                ReturnSlip(f"{stem}/{at}", asked, *shares[at], state, note, told.get(at, ()), joint),
                by=sitting.by,
                now=sitting.now,
            )
            for at, asked in enumerate(tags)
        ]
    if as_json:
        return print_json(receipts)
    from fleet.commands.showing import tag
    from fleet.rules.upkeep import spoken

    for receipt in receipts:
        again = " It had been taken back before." if receipt.again else ""
        use = f"{receipt.cycles:,} cycles and {receipt.minutes:,} pump minutes booked"
        total = f"{receipt.total_cycles:,} cycles and {receipt.total_minutes:,} pump minutes in all"
        print_line(f"{tag(receipt.tag)} is back: {use}, {total}.{again}")
        for one in receipt.breakouts:
            print_line(f"  Breakout {said(one)}.", hang=4)
        for task in receipt.due_by_use:
            print_line(f"  {spoken(task)} is now due by use: it stays in until that is done.", hang=4)
        if state is Condition.ATTENTION:
            print_line(
                f"  It needs attention, and may still go out. To keep it in: fleet hold {tag(receipt.tag)} "
                "--reason '...'",
                hang=4,
            )
        if receipt.held:
            print_line(
                "  It is on hold. Once it is repaired and inspected: "
                f"fleet release {tag(receipt.tag)} --inspection N --words '...'",
                hang=4,
            )
    return None


def _shares(
    sitting: Sitting, tags: Sequence[str], cycles: int | None, minutes: int | None
) -> list[tuple[int | None, int | None]]:
    """Each item's own use. One that comes back alone did all of it, so nothing is looked up."""
    from fleet.lists.items import find_item
    from fleet.rules.usage import part_of_use

    if len(tags) == 1:
        return [(cycles, minutes)]
    kinds = [find_item(sitting.db, asked).kind for asked in tags]
    return [part_of_use(kind, cycles, minutes, set(kinds)) for kind in kinds]


def _check_use_given(cycles: int | None, minutes: int | None, *, as_planned: bool) -> None:
    given = cycles is not None or minutes is not None
    if given and as_planned:
        raise NotPossible("Give either the use or --as-planned, not both.")
    if not given and not as_planned:
        raise NotPossible("Say how much they were used: --cycles, --minutes, or --as-planned.")


def usage(
    context: typer.Context,
    asked: Tag,
    most: Annotated[int, typer.Option("--last", help="How many of the newest entries.")] = 20,
    *,
    as_json: Json = False,
) -> None:
    """The usage ledger of one item, newest first."""
    from fleet.commands.showing import day, tag
    from fleet.lists.items import find_item
    from fleet.lists.usage import usage as list_usage

    with door(context).look() as (db, _now):
        item = find_item(db, asked)
        found = list_usage(db, item, most=max(most, 1))
    if as_json:
        return print_json({"item": item, "entries": found})
    rows = [
        (
            u.entry,
            day(u.used_on),
            " ".join(filter(None, (u.job, u.joint))),
            u.cycles,
            u.minutes,
            _remark(u.reverses, u.reversed_by, u.reason),
        )
        for u in found
    ]
    total = f"{tag(item.tag)}: {item.cycles:,} cycles and {item.minutes:,} pump minutes in all"
    return print_table(("Entry", "Day", "Job", "Cycles", "Pump min", "Remark"), rows, title=total, empty="")


def _remark(reverses: int | None, reversed_by: int | None, reason: str | None) -> str:
    if reverses:
        return f"reverses {reverses}: {reason}"
    return f"reversed by {reversed_by}" if reversed_by else reason or ""


def note_use(
    context: typer.Context,
    asked: Tag,
    note: Annotated[str, typer.Option("--note", "-n", help="Where this use comes from.")],
    cycles: Annotated[int, typer.Option("--cycles", "-c", help="Cycles that were used.")] = 0,
    minutes: Annotated[int, typer.Option("--minutes", "-m", help="Pump minutes that were used.")] = 0,
    on: Annotated[str | None, typer.Option("--on", help="Day of the use; today when left out.")] = None,
    job: Annotated[str | None, typer.Option("--job", "-j", help="Job of the use, if any.")] = None,
    request: RequestId = None,
    *,
    joint: Annotated[str | None, typer.Option("--joint", help="Joint of that job, if known.")] = None,
    as_json: Json = False,
) -> None:
    """Book use that no return reported, such as a test run."""
    from fleet.commands.asking import asked_day
    from fleet.desk.usage import UseSlip
    from fleet.desk.usage import note_use as book
    from fleet.lists.items import find_item
    from fleet.lists.sites import find_site

    with door(context).act() as sitting:
        today = find_site(sitting.db, find_item(sitting.db, asked).site).today(sitting.now)
        slip = UseSlip(request or new_id(), asked, cycles, minutes, asked_day(on, today), note, job, joint)
        booked = book(sitting.db, slip, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(booked)
    again = " It had been noted before." if booked.again else ""
    return print_line(f"Entry {booked.entry}: {_stands(booked)}.{again}")


def _stands(booked: Booked) -> str:
    from fleet.commands.showing import tag

    return (
        f"{tag(booked.tag)} stands at {booked.total_cycles:,} cycles and "
        f"{booked.total_minutes:,} pump minutes"
    )


def reverse_use(
    context: typer.Context,
    entry: Annotated[int, typer.Argument(help="Number of the entry, from: fleet usage TAG")],
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why the entry is wrong.")],
    request: RequestId = None,
    *,
    as_json: Json = False,
) -> None:
    """Take a wrong usage entry back by a second one; the first stays readable."""
    from fleet.desk.usage import reverse_use as reverse

    with door(context).act() as sitting:
        booked = reverse(
            sitting.db, entry, reason, client_id=request or new_id(), by=sitting.by, now=sitting.now
        )
    if as_json:
        return print_json(booked)
    again = " That had been done before." if booked.again else ""
    return print_line(f"Entry {booked.entry} reverses entry {entry}: {_stands(booked)}.{again}")
