"""Sending items to a laboratory or workshop, taking them back, and what is away."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door, new_id
from fleet.commands.loans import RequestId, Tag
from fleet.commands.printing import Json, Site, print_json, print_line, print_table

if TYPE_CHECKING:
    from fleet.rules.calibrations import DecisionRule

RULES = "simple acceptance, guard band 0.83 U or guard band U"
Rule = Annotated[str | None, typer.Option("--rule", help=f"{RULES}; as the last time when left out.")]
Tolerance = Annotated[
    float | None,
    typer.Option("--tolerance", help="In %, of the chart's torque (wrench) or of the span (gauge)."),
]
Gauge = Annotated[str | None, typer.Option("--gauge", help="The gauge that goes with the wrench.")]


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    for command in (send, back, away):
        app.command(rich_help_panel="Calibration")(command)


def known_rule(text: str | None) -> DecisionRule | None:
    """The decision rule that was typed, if one was."""
    from fleet.commands.asking import one_of
    from fleet.rules.calibrations import DecisionRule

    return one_of(DecisionRule, text, "decision rule") if text else None


def send(
    context: typer.Context,
    asked: Tag,
    to: Annotated[str, typer.Option("--to", help="Which laboratory or workshop.")],
    errand: Annotated[str, typer.Option("--for", help="calibration or repair.")],
    *,
    rule: Rule = None,
    tolerance: Tolerance = None,
    gauge: Gauge = None,
    wanted: Annotated[str | None, typer.Option("--wanted", help="Day it is wanted back.")] = None,
    note: Annotated[str | None, typer.Option("--note", "-n", help="What they should know or do.")] = None,
    request: RequestId = None,
    as_json: Json = False,
) -> None:
    """Send an item away; how its certificate will be judged is chosen now, before anybody has seen it."""
    from fleet.commands.asking import one_of
    from fleet.commands.showing import day, tag
    from fleet.desk.away import SendSlip, send_away
    from fleet.lists.items import find_item, item_facts
    from fleet.measures.times import read_day
    from fleet.rules.evidence import Errand

    slip = SendSlip(
        request or new_id(),
        asked,
        to,
        one_of(Errand, errand, "reason to send something away"),
        known_rule(rule),
        tolerance,
        gauge,
        read_day(wanted) if wanted else None,
        note,
    )
    with door(context).act() as sitting:
        sent = send_away(sitting.db, slip, by=sitting.by, now=sitting.now)
        item = find_item(sitting.db, sent.tag).id
        kept = item_facts(sitting.db, [item], now=sitting.now)[item].kept
    if as_json:
        return print_json(sent)
    back_by = f", wanted back {day(sent.wanted_on)}" if sent.wanted_on else ""
    again = " It had been sent before." if sent.again else ""
    print_line(f"{tag(sent.tag)} is away at {sent.sent_to} for {sent.errand}{back_by}.{again}")
    if sent.decision_rule:
        paired = f", paired with gauge {tag(sent.paired_gauge)}" if sent.paired_gauge else ""
        print_line(
            f"  Its certificate will be judged by {sent.decision_rule}, "
            f"±{sent.tolerance_percent:g} %{paired}.",
            hang=4,
        )
    for one in kept:
        print_line(f"  It is reserved for {one.job} from {day(one.first_day)}: tell the planner.", hang=4)
    return None


def back(context: typer.Context, asked: Tag, *, as_json: Json = False) -> None:
    """Take an item back from a laboratory or workshop."""
    from fleet.commands.showing import tag
    from fleet.desk.away import take_from_away

    with door(context).act() as sitting:
        answer = take_from_away(sitting.db, asked, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(answer)
    print_line(f"{tag(answer.tag)} is back from {answer.sent_to} after {answer.days_away} days.")
    if answer.certificate_missing:
        print_line(
            f"  Its certificate is still to come: fleet certificate take-in {tag(answer.tag)} ...", hang=4
        )
    return None


def away(context: typer.Context, site: Site = None, *, as_json: Json = False) -> None:
    """What is away, where, why and since when: what is late first."""
    from fleet.commands.showing import day, tag
    from fleet.lists.away import away as list_away
    from fleet.lists.sites import find_site

    with door(context).look() as (db, now):
        where = find_site(db, site)
        found = list_away(db, where, now=now)
    if as_json:
        return print_json({"site": where.code, "lines": found})
    rows = [
        (
            "LATE" if line.overdue else "away",
            tag(line.tag),
            f"{line.kind} {line.model}",
            f"{line.errand}, {line.sent_to}",
            f"{day(line.sent_on)} ({line.age_days} days)",
            day(line.wanted_on),
        )
        for line in found
    ]
    columns = ("", "Tag", "What", "For, at", "Since", "Wanted")
    return print_table(columns, rows, title=where.name, empty="Nothing is away.")
