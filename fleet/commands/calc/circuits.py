"""The circuit of a kit, and what a gauge may be off."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.calc.answers import Answer, give, pressure
from fleet.commands.calc.gear import find_pieces
from fleet.commands.calc.reading import measure, units_of
from fleet.commands.printing import Json, print_table
from fleet.refusals import Unreadable

if TYPE_CHECKING:
    from fleet.bolting.circuits import Circuit
    from fleet.bolting.figures import Units
    from fleet.bolting.parts import Part


def register(calc: typer.Typer) -> None:
    """Put the commands of this module on the group."""
    for command in (circuit, gauge):
        calc.command()(command)


def circuit(
    context: typer.Context,
    more: Annotated[list[str] | None, typer.Argument(metavar="[TAG]...", help="Further tags.")] = None,
    items: Annotated[
        list[str] | None, typer.Option("--items", help="Tags, with commas or one after the other.")
    ] = None,
    set_pressure: Annotated[
        str | None, typer.Option("--pressure", "-p", help="Where the gauge will be read.")
    ] = None,
    *,
    as_json: Json = False,
) -> None:
    """Do these items fit each other, and what may each line stand: part by part."""
    from fleet.bolting.circuits import check_circuit
    from fleet.bolting.parts import Kind
    from fleet.rules.cautions import FOR_PRESSURE
    from fleet.rules.sources import ASSUMED, SOURCE_OF_CIRCUITS

    tags = [tag for text in (*(items or ()), *(more or ())) for tag in text.replace(",", " ").split()]
    if not tags:
        raise Unreadable("Name the items of the kit: --items 20101-3,20201-0 or one after the other.")
    pieces, units = find_pieces(context, tags)
    parts = [piece.part for piece in pieces if piece.kind != Kind.SOCKET]
    reading = measure(set_pressure, "pressure") if set_pressure else None
    found = check_circuit(parts, reading, units)
    hoses = [part for part in parts if part.kind is Kind.HOSE]
    facts = {
        "From the pump": " > ".join(found.order),
        "Verdict": "may be put together" if found.sound else "MAY NOT be put under pressure as it stands",
    }
    answer = Answer(_values(found, hoses), facts, SOURCE_OF_CIRCUITS, ASSUMED, FOR_PRESSURE)
    give(answer, as_json=as_json, between=lambda: _print(found, hoses, units))


def _values(found: Circuit, hoses: list[Part]) -> dict[str, object]:
    return {
        "sound": found.sound,
        "order": list(found.order),
        "connections": [
            {
                "line": joint.line,
                "from": joint.from_label,
                "from_port": joint.from_port and str(joint.from_port),
                "to": joint.to_label,
                "to_port": joint.to_port and str(joint.to_port),
                "fits": joint.fits,
                "reason": joint.reason,
            }
            for joint in found.connections
        ],
        "lines": {
            str(line): {
                "working_mpa": rating.working_mpa,
                "limited_by": rating.limited_by,
                "relief_mpa": rating.relief_mpa,
                "highest_mpa": rating.highest_mpa,
            }
            for line, rating in found.ratings.items()
        },
        "burst_ratios": {hose.label: hose.burst_ratio for hose in hoses},
        "findings": list(found.findings),
    }


def _print(found: Circuit, hoses: list[Part], units: Units) -> None:
    from fleet.commands.kitprints import print_circuit, print_findings

    print_circuit(found, units)
    rows = [(hose.label, f"{hose.burst_ratio:g} : 1" if hose.burst_ratio else "unknown") for hose in hoses]
    if rows:
        print_table(("Hose", "Burst ratio"), rows, title="Burst", fit=True)
    print_findings(found.findings)


def gauge(
    accuracy: Annotated[str, typer.Option("--class", "-c", help="EN 837-1 class or ASME grade: 1.6, 2A, B.")],
    range_given: Annotated[str, typer.Option("--range", help='End of the scale: "1000 bar".')],
    at: Annotated[str, typer.Option("--at", help='Where it is read: "250 bar".')],
    *,
    as_json: Json = False,
) -> None:
    """How far a gauge may be off at a reading, by its class or grade."""
    from fleet.bolting.circuits import in_best_band
    from fleet.bolting.figures import percent
    from fleet.bolting.gauges import gauge_error, read_accuracy
    from fleet.rules.cautions import FOR_RECORDS

    read = read_accuracy(accuracy)
    range_mpa, reading_mpa = measure(range_given, "pressure"), measure(at, "pressure")
    off = gauge_error(read, range_mpa, reading_mpa, units_of(at, "pressure"))
    share = reading_mpa / range_mpa
    facts = {
        "Accuracy": read.name,
        "May be off by": f"± {pressure(off.error_mpa, 'UP')}",
        "Share of the reading": percent(off.percent_of_reading),
        "Read at": f"{100 * share:.0f} % of the scale",
    }
    assumed = [
        "The scale starts at zero, and the gauge is within its class: calibrated, undamaged, at 20 °C."
    ]
    if not in_best_band(share):
        assumed.append("It is read outside the middle half of its scale, where a gauge works best.")
    values = {"error_mpa": off.error_mpa, "error_percent": off.percent_of_reading}
    source = "EN 837-1 (class, % of span); ASME B40.100 (grades, from memory)"
    give(Answer(values, facts, source, assumed, FOR_RECORDS), as_json=as_json)
