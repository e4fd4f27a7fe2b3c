"""Impact reviews, and what one item touched."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door
from fleet.commands.grouping import Grouped
from fleet.commands.loans import Tag
from fleet.commands.printing import Json, Site, print_facts, print_json, print_line, print_table

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from fleet.bolting.figures import Units
    from fleet.lists.reviews import ReviewLine, TouchedLine
    from fleet.rules.impact import Judged

Number = Annotated[int, typer.Argument(metavar="N", help="Number of the review, from: fleet review list")]

review = typer.Typer(
    help="Impact reviews: what a failed calibration may have touched.", no_args_is_help=True, cls=Grouped
)


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    review.command("list")(list_reviews)
    review.command("show")(show)
    review.command("decide")(decide)
    review.command("close")(close)
    app.add_typer(review, name="review", rich_help_panel="Upkeep")
    app.command(rich_help_panel="Upkeep")(trace)


def list_reviews(
    context: typer.Context,
    site: Site = None,
    *,
    closed: Annotated[bool, typer.Option("--closed", help="Those that are closed too.")] = False,
    as_json: Json = False,
) -> None:
    """Reviews to decide: what is overdue first."""
    from fleet.commands.printing import plain
    from fleet.commands.showing import day, tag
    from fleet.lists.reviews import reviews
    from fleet.lists.sites import find_site

    with door(context).look() as (db, now):
        where = find_site(db, site)
        found, today = reviews(db, where, closed=closed), where.today(now)
    if as_json:
        return print_json([plain(line) | {"overdue": line.overdue(today)} for line in found])
    rows = [
        (
            line.id,
            _state(line, today),
            tag(line.tag),
            f"{line.kind} {line.model}",
            day(line.due_on),
            line.lines,
            line.undecided,
            line.cause,
        )
        for line in found
    ]
    columns = ("Review", "", "Tag", "What", "Decide by", "Joints", "To decide", "Cause")
    return print_table(columns, rows, title=f"{where.name}: impact reviews", empty="none to decide")


def _state(line: ReviewLine, today: date) -> str:
    if line.closed_at:
        return "closed"
    return "OVERDUE" if line.overdue(today) else "open"


def show(context: typer.Context, number: Number, *, as_json: Json = False) -> None:
    """One review: every loan, job and joint, the torque error it implies, and what was decided."""
    from fleet.bolting.figures import Units
    from fleet.commands.printing import plain
    from fleet.commands.showing import day, tag
    from fleet.lists.reviews import find_review
    from fleet.lists.sites import find_site

    with door(context).look() as (db, _now):
        line, found = find_review(db, number)
        site = find_site(db, line.site)
    if as_json:
        return print_json(
            {
                "review": line,
                "lines": [plain(one) | {"out_of_tolerance": one.out_of_tolerance} for one in found],
            }
        )
    facts = {
        "Cause": line.cause,
        "Certificate": line.certificate,
        "Last good": day(line.since_on) or "none on record: all its use is in question",
        "Until": day(line.until_on),
        "Decide by": day(line.due_on),
        "Closed": f"by {line.closed_by or 'set-up'}: {line.summary}" if line.closed_at else "",
    }
    print_facts(facts, title=f"Review {line.id}: {line.kind} {line.model}, {tag(line.tag)}")
    units = Units(site.pressure_unit, site.torque_unit)
    rows = [(one.number, *_shown(one, units), _ruling(one)) for one in found]
    columns = ("Line", "Loan", "Job", "Joint", "Days", "Cycles", "Set at", "Torque", "Decided")
    print_table(columns, rows, title="Touched", empty="nothing on record")
    print_line(CAUTION)
    return None


CAUTION = (
    "The torque error is that of the tool or gauge alone, at the set pressure that the chart gives for the "
    "target torque; the scatter of the joint comes on top. A competent person decides."
)


def _shown(line: TouchedLine, units: Units) -> tuple[object, ...]:
    """What is printed of one touched joint, besides its number and what was decided."""
    error = f"{line.error_percent:+.1f} %" if line.error_percent is not None else "not known"
    if line.out_of_tolerance:
        error += f", OUT of ±{line.tolerance_percent:g} %"
    return (
        f"{line.loan or ''} {line.borrower or ''}".strip(),
        line.job,
        line.joint,
        _days(line.first_on, line.last_on),
        line.cycles,
        units.reading(line.pressure_mpa) if line.pressure_mpa is not None else "not known",
        error,
    )


def _ruling(line: TouchedLine) -> str:
    return f"{line.ruling}: {line.reason} ({line.decided_by})" if line.ruling else "TO DECIDE"


def decide(
    context: typer.Context,
    number: Number,
    lines: Annotated[list[int], typer.Argument(metavar="LINE", help="Lines of the review.")],
    ruling: Annotated[str, typer.Option("--ruling", help="accept, re-tighten or other.")],
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why, in a sentence.")],
    *,
    as_json: Json = False,
) -> None:
    """Decide lines of a review, in your name and once. Safety officers only."""
    from fleet.commands.asking import one_of
    from fleet.desk.reviews import decide as decide_lines
    from fleet.rules.evidence import Ruling

    named = one_of(Ruling, ruling, "ruling")
    with door(context).act() as sitting:
        done = decide_lines(sitting.db, number, lines, named, reason, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(done)
    which = ", ".join(map(str, done.lines))
    rest = f"{done.undecided} still to decide." if done.undecided else "All are decided: it can be closed."
    return print_line(f"Line {which} of review {number}: {done.ruling}. {rest}")


def close(
    context: typer.Context,
    number: Number,
    summary: Annotated[str, typer.Option("--summary", help="What the review came to.")],
    *,
    as_json: Json = False,
) -> None:
    """Close a review of which every line is decided. Safety officers only."""
    from fleet.desk.reviews import close as close_review

    with door(context).act() as sitting:
        done = close_review(sitting.db, number, summary, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(done)
    return print_line(f"Review {done.id} is closed: {done.summary}")


def trace(
    context: typer.Context,
    asked: Tag,
    since: Annotated[str | None, typer.Option("--since", help="From this day on; else all its use.")] = None,
    until: Annotated[str | None, typer.Option("--until", help="Through this day; else today.")] = None,
    *,
    as_json: Json = False,
) -> None:
    """Every loan, job and joint that one item touched: a wrench, and also a pump, hose or gauge."""
    from fleet.bolting.figures import Units
    from fleet.commands.asking import asked_day
    from fleet.commands.showing import day, tag
    from fleet.lists.items import find_item
    from fleet.lists.sites import find_site
    from fleet.lists.traces import trace as trace_item
    from fleet.measures.times import read_day
    from fleet.rules.impact import judge_touched

    with door(context).look() as (db, now):
        item = find_item(db, asked)
        site = find_site(db, item.site)
        begin, end = read_day(since) if since else None, asked_day(until, site.today(now))
        touched = trace_item(db, item.id, since=begin, until=end)
    found = judge_touched(item.kind, touched, lambda _pressure: None)
    if as_json:
        return print_json(
            {"item": item, "since": begin, "until": end, "touched": [_fields(one) for one in found]}
        )
    units = Units(site.pressure_unit, site.torque_unit)
    span = f"from {day(begin)} to {day(end)}" if begin else f"until {day(end)}"
    columns = ("Loan", "Job", "Joint", "Days", "Cycles", "Min", "Target", "Set at")
    rows = _trace_rows(found, units)
    return print_table(
        columns, rows, title=f"{tag(item.tag)}: what it touched {span}", empty="nothing on record"
    )


def _days(first_on: date, last_on: date) -> str:
    from fleet.commands.showing import day

    return day(first_on) if first_on == last_on else f"{day(first_on)} to {day(last_on)}"


def _trace_rows(found: Sequence[Judged], units: Units) -> list[tuple[object, ...]]:
    return [
        (
            f"{one.touched.loan or ''} {one.touched.borrower or ''}".strip(),
            one.touched.job,
            one.touched.joint,
            _days(one.touched.first_on, one.touched.last_on),
            one.touched.cycles,
            one.touched.minutes,
            units.target(one.touched.target_torque_nm) if one.touched.target_torque_nm else "",
            units.reading(one.pressure_mpa) if one.pressure_mpa is not None else "not known",
        )
        for one in found
    ]


def _fields(one: Judged) -> dict[str, object]:
    """One touched joint for machines; the charts are on record elsewhere."""
    from fleet.commands.printing import plain

    fields: dict[str, object] = plain(one.touched)
    charts = [chart.source for chart in one.touched.charts]
    return fields | {"charts": charts, "pressure_mpa": one.pressure_mpa}
