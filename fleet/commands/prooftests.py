"""Proof tests of hoses, and of what else its maker's manual wants tested."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.commands.door import door, new_id
from fleet.commands.loans import RequestId, Tag
from fleet.commands.printing import Json, print_cautions, print_json, print_line, print_table


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    app.command("proof-test", rich_help_panel="Upkeep")(proof_test)
    app.command("proof-tests", rich_help_panel="Upkeep")(proof_tests)


def proof_test(
    context: typer.Context,
    asked: Tag,
    pressure: Annotated[str, typer.Option("--pressure", help="Pressure it was held at: '20,000 psi'.")],
    held: Annotated[int, typer.Option("--held", help="For how many seconds, at least 30.")],
    gauge: Annotated[str, typer.Option("--gauge", "-g", help="Tag of the gauge it was read on.")],
    *,
    retract: Annotated[
        str | None, typer.Option("--retract-pressure", help="Of a retract line that is rated otherwise.")
    ] = None,
    required: Annotated[
        str | None, typer.Option("--required", help="What the manual asks for, of anything but a hose.")
    ] = None,
    task: Annotated[str | None, typer.Option("--task", "-t", help="Upkeep task that this does.")] = None,
    on: Annotated[str | None, typer.Option("--on", help="Day of the test; today when left out.")] = None,
    note: Annotated[str | None, typer.Option("--note", "-n", help="Anything else worth knowing.")] = None,
    request: RequestId = None,
    tight: Annotated[bool, typer.Option("--tight/--leaks", help="Whether it stayed tight; say one.")],
    as_json: Json = False,
) -> None:
    """Record a proof test; one that is not passed keeps the item in until a later one is."""
    from fleet.commands.asking import asked_day
    from fleet.desk.proof_tests import ProofTestSlip, record_proof_test
    from fleet.lists.items import find_item
    from fleet.lists.sites import find_site

    with door(context).act() as sitting:
        today = find_site(sitting.db, find_item(sitting.db, asked).site).today(sitting.now)
        slip = ProofTestSlip(
            client_id=request or new_id(),
            item=asked,
            pressure=pressure,
            held_seconds=held,
            tight=tight,
            gauge=gauge,
            tested_on=asked_day(on, today),
            retract_pressure=retract,
            required=required,
            task=task,
            note=note,
        )
        proved = record_proof_test(sitting.db, slip, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(proved)
    from fleet.commands.showing import tag
    from fleet.rules.cautions import FOR_A_PROOF_TEST
    from fleet.rules.upkeep import spoken

    again = " It had been recorded before." if proved.again else ""
    result = "passed" if proved.passed else "NOT PASSED"
    print_line(f"Proof test {proved.number} of {tag(proved.tag)}: {result}.{again}")
    for reason in proved.reasons:
        print_line(f"  {reason}", hang=4)
    if proved.fulfilled:
        print_line(f"  {spoken(proved.fulfilled)} is done.", hang=4)
    if proved.held:
        print_line("  It is on hold, and stays in until a later test is passed and it is released.", hang=4)
    return print_cautions(FOR_A_PROOF_TEST)


def proof_tests(context: typer.Context, asked: Tag, *, as_json: Json = False) -> None:
    """The proof tests of one item, newest first."""
    from fleet.bolting.figures import Units
    from fleet.commands.showing import day, tag
    from fleet.lists.items import find_item
    from fleet.lists.proof_tests import proof_tests as list_tests
    from fleet.lists.sites import find_site

    with door(context).look() as (db, _now):
        item = find_item(db, asked)
        site = find_site(db, item.site)
        found = list_tests(db, item.id)
    if as_json:
        return print_json({"item": item, "proof_tests": found})
    units = Units(site.pressure_unit, site.torque_unit)
    rows = [
        (
            one.number,
            day(one.tested_on),
            "passed" if one.passed else "NOT PASSED",
            one.pressure_written,
            units.setting(one.required_mpa),
            one.held_seconds,
            "tight" if one.tight else "leaked",
            tag(one.gauge) if one.gauge else None,
            one.by_name,
        )
        for one in found
    ]
    head = ("No", "Day", "Result", "Held at", "Asked for", "Seconds", "", "Gauge", "By")
    return print_table(head, rows, title=f"Proof tests of {tag(item.tag)}", empty="none.")
