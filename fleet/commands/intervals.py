"""Interval proposals, and limits of single items."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door
from fleet.commands.grouping import Grouped
from fleet.commands.loans import Tag
from fleet.commands.printing import Json, print_cautions, print_facts, print_json, print_line, print_table

if TYPE_CHECKING:
    from fleet.desk.limits import Limited
    from fleet.lists.intervals import ProposalLine

Task = Annotated[str, typer.Option("--task", "-t", help="The upkeep task, e.g. calibration.")]
Number = Annotated[int, typer.Argument(metavar="NUMBER", help="Number of the proposal.")]

interval = typer.Typer(
    help="Propose calibration intervals from the certificates on record; take or decline a proposal.",
    no_args_is_help=True,
    cls=Grouped,
)
limit = typer.Typer(
    help="Give one item a limit of its own, with the document that allows it.",
    no_args_is_help=True,
    cls=Grouped,
)


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    app.add_typer(interval, name="interval", rich_help_panel="Calibration")
    app.add_typer(limit, name="limit", rich_help_panel="Calibration")


# --- Proposals ----------------------------------------------------------------------------------------------


@interval.command("propose")
def propose(
    context: typer.Context,
    asked: Annotated[
        str | None, typer.Argument(metavar="TAG", help="For one item; else --kind or --model.")
    ] = None,
    *,
    kind: Annotated[str | None, typer.Option("--kind", "-k", help="For all items of a kind.")] = None,
    model: Annotated[str | None, typer.Option("--model", "-m", help="For all items of a model.")] = None,
    task: Task = "calibration",
    method: Annotated[
        str, typer.Option("--method", help="test, staircase, control chart or in-use time.")
    ] = "test",
    target: Annotated[float, typer.Option("--target", help="Test: share wanted within tolerance.")] = 0.95,
    confidence: Annotated[float, typer.Option("--confidence", help="At which the evidence decides.")] = 0.95,
    lengthen: Annotated[float, typer.Option("--lengthen", help="The room's step up, %.")] = 25.0,
    shorten: Annotated[float, typer.Option("--shorten", help="The room's step down, %.")] = 50.0,
    shortest: Annotated[int, typer.Option("--shortest", help="The room's shortest, months.")] = 1,
    longest: Annotated[int, typer.Option("--longest", help="The room's longest, at most 36.")] = 36,
    as_json: Json = False,
) -> None:
    """Propose an interval by a published method, with its evidence. A proposal changes nothing."""
    from fleet.commands.asking import known_kind, one_of
    from fleet.desk.intervals import ProposeSlip
    from fleet.desk.intervals import propose as make
    from fleet.lists.models import find_model
    from fleet.refusals import NotPossible
    from fleet.rules.drift import Method
    from fleet.rules.intervals import IntervalPolicy
    from fleet.rules.limits import LONGEST_MONTHS

    if sum(one is not None for one in (asked, kind, model)) != 1:
        raise NotPossible("Say what it is for: the tag of one item, --kind or --model.")
    if longest > LONGEST_MONTHS:
        raise NotPossible(f"The room's longest interval is {LONGEST_MONTHS} months.")
    how = one_of(Method, method, "method that the register has figures for")
    policy = IntervalPolicy(shortest, longest, lengthen, shorten)
    with door(context).act() as sitting:
        named = find_model(sitting.db, model).model if model else None
        slip = ProposeSlip(task, how, policy, asked, known_kind(kind), named, target, confidence)
        made = make(sitting.db, slip, by=sitting.by, now=sitting.now)
    return print_json(made) if as_json else _print_proposal(made)


def _print_proposal(line: ProposalLine) -> None:
    from fleet.rules.cautions import FOR_RECORDS

    print_facts(
        {
            "For": _for(line),
            "Now": f"{line.now_months} months",
            "Proposed": f"{line.proposed_months} months",
            "Method": line.method,
            "Evidence": line.evidence,
            "Decided": f"{line.choice} by {line.decided_by}: {line.decision_reason}"
            if line.choice
            else "not yet",
        },
        title=f"Proposal {line.id}",
    )
    if not line.choice:
        print_line("  Nothing changes before a safety officer takes it, with a reason:", hang=4)
        print_line(f"  fleet interval take {line.id} --reason '...'", hang=4)
    print_cautions(FOR_RECORDS)


def _for(line: ProposalLine) -> str:
    from fleet.commands.showing import tag

    what = f"{line.kind} {tag(line.tag)}" if line.tag else line.model or f"every {line.kind}"
    return f"{line.task} of {what}"


@interval.command("take")
def take(
    context: typer.Context,
    number: Number,
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why it is taken.")],
    *,
    as_json: Json = False,
) -> None:
    """Take a proposal: the item gets its own limit, or the task of a kind or model its new interval."""
    from fleet.desk.intervals import take as take_it

    with door(context).act() as sitting:
        line = take_it(sitting.db, number, reason, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(line)
    return print_line(f"Proposal {line.id} is taken: {_for(line)} every {line.proposed_months} months.")


@interval.command("decline")
def decline(
    context: typer.Context,
    number: Number,
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why it is declined.")],
    *,
    as_json: Json = False,
) -> None:
    """Decline a proposal; nothing changes."""
    from fleet.desk.intervals import decline as turn_down

    with door(context).act() as sitting:
        line = turn_down(sitting.db, number, reason, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(line)
    return print_line(f"Proposal {line.id} is declined; {_for(line)} stays as it is.")


@interval.command("list")
def list_proposals(
    context: typer.Context,
    *,
    decided: Annotated[bool, typer.Option("--all", help="Those that were decided, too.")] = False,
    as_json: Json = False,
) -> None:
    """The proposals that nobody has decided yet."""
    from fleet.lists.intervals import proposals

    with door(context).look() as (db, _):
        found = proposals(db, decided=decided)
    if as_json:
        return print_json(found)
    rows = [
        (
            line.id,
            _for(line),
            f"{line.now_months} to {line.proposed_months} months",
            line.method,
            f"{line.choice} by {line.decided_by}" if line.choice else "open",
        )
        for line in found
    ]
    return print_table(("No.", "For", "Interval", "Method", "Standing"), rows, empty="No proposal.")


# --- Limits -------------------------------------------------------------------------------------------------


@limit.command("set")
def set_limit(
    context: typer.Context,
    asked: Tag,
    task: Task,
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why this item has a limit of its own.")],
    document: Annotated[str, typer.Option("--document", help="Which document allows it.")],
    *,
    months: Annotated[int | None, typer.Option("--months", help="By the calendar.")] = None,
    cycles: Annotated[int | None, typer.Option("--cycles", "-c", help="By cycles.")] = None,
    hours: Annotated[float | None, typer.Option("--hours", help="By pump hours.")] = None,
    as_json: Json = False,
) -> None:
    """Give one item its own interval or life for a task; what is left out stays the task's own."""
    from fleet.desk.limits import LimitSlip
    from fleet.desk.limits import set_limit as set_it
    from fleet.rules.limits import Clocks

    minutes = None if hours is None else round(hours * 60)
    slip = LimitSlip(asked, task, Clocks(months, cycles, minutes), reason, document)
    with door(context).act() as sitting:
        answer = set_it(sitting.db, slip, by=sitting.by, now=sitting.now)
    return print_json(answer) if as_json else _print_limited(answer)


@limit.command("end")
def end_limit(
    context: typer.Context,
    asked: Tag,
    task: Task,
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why it ends.")],
    *,
    as_json: Json = False,
) -> None:
    """End an item's own limit; the task's own clocks go on."""
    from fleet.desk.limits import end_limit as end_it

    with door(context).act() as sitting:
        answer = end_it(sitting.db, asked, task, reason, by=sitting.by, now=sitting.now)
    return print_json(answer) if as_json else _print_limited(answer)


def _print_limited(answer: Limited) -> None:
    from fleet.commands.showing import day, tag

    again = " That was so before." if answer.again else f" Before, it was {answer.before}."
    due = f" Due by the calendar: {day(answer.due_on)}." if answer.due_on else ""
    print_line(f"{answer.task.capitalize()} of {tag(answer.tag)} goes by {answer.clocks}.{again}{due}")


@limit.command("list")
def list_limits(
    context: typer.Context,
    asked: Annotated[str | None, typer.Argument(metavar="TAG", help="Of one item.")] = None,
    *,
    ended: Annotated[bool, typer.Option("--all", help="Those that ended, too.")] = False,
    as_json: Json = False,
) -> None:
    """The limits of single items, each with the document that allows it."""
    from fleet.commands.showing import tag
    from fleet.lists.items import find_item
    from fleet.lists.limits import limits
    from fleet.rules.limits import Clocks

    with door(context).look() as (db, _):
        only = find_item(db, asked).tag if asked else None
        found = limits(db, tag=only, ended=ended)
    if as_json:
        return print_json(found)
    rows = [
        (
            tag(line.tag),
            f"{line.kind} {line.model}",
            line.task,
            str(Clocks(line.every_months, line.every_cycles, line.every_minutes)),
            f"{line.document}: {line.reason}",
            f"ended: {line.end_reason}" if line.ended_at else "in force",
        )
        for line in found
    ]
    return print_table(
        ("Tag", "What", "Task", "Every", "By", ""), rows, empty="No item has a limit of its own."
    )
