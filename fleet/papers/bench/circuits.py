"""The circuit of a kit, and what a gauge may be off."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.bolting.circuits import check_circuit, in_best_band
from fleet.bolting.figures import percent
from fleet.bolting.gauges import gauge_error, read_accuracy
from fleet.bolting.parts import Kind
from fleet.papers.bench.answers import Answer, Grid
from fleet.papers.bench.asked import about
from fleet.rules.cautions import FOR_PRESSURE, FOR_RECORDS
from fleet.rules.sources import ASSUMED, SOURCE_OF_CIRCUITS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.bolting.circuits import Circuit
    from fleet.bolting.figures import Units
    from fleet.bolting.findings import Finding
    from fleet.bolting.parts import Part
    from fleet.papers.bench.asked import Asked

# A finding's severity in the words of a printout.
GRAVITY = {"hard": "STOP", "soft": "SEE TO", "note": "Note"}
_MOST_ITEMS = 40


def circuit(asked: Asked) -> Answer:
    """Do these items fit each other, and what may each line stand: part by part."""
    tags = [tag for text in asked.several("items") for tag in text.replace(",", " ").split()]
    if not tags:
        raise asked.amiss(
            "items",
            f"Name the items of the kit: {asked.called('items')} 20101-3,20201-0 or one after the other.",
        )
    if len(tags) > _MOST_ITEMS:
        raise asked.amiss(
            "items", f"A kit of {len(tags)} items is not looked at; name at most {_MOST_ITEMS}."
        )
    with about("items"):
        pieces, units = asked.register().kit(tags)
    parts = [piece.part for piece in pieces if piece.kind != Kind.SOCKET]
    reading = asked.measure("pressure", "pressure") if asked.text("pressure") else None
    found = check_circuit(parts, reading, units)
    hoses = [part for part in parts if part.kind is Kind.HOSE]
    facts = {
        "From the pump": " > ".join(found.order),
        "Verdict": "may be put together" if found.sound else "MAY NOT be put under pressure as it stands",
    }
    return Answer(
        _values(found, hoses),
        facts,
        SOURCE_OF_CIRCUITS,
        ASSUMED,
        FOR_PRESSURE,
        (*circuit_grids(found, units), *_bursts(hoses)),
        tuple(say(finding) for finding in found.findings),
    )


def say(finding: Finding, *, about: str = "") -> str:
    """A finding in a line, how grave it is first."""
    words = (GRAVITY[finding.severity], about, finding.sentence)
    return ": ".join(word for word in words if word)


def circuit_grids(found: Circuit, units: Units) -> tuple[Grid, Grid]:
    """What is connected to what, and what each line may stand."""
    connections = [
        (
            joint.line,
            joint.from_label,
            joint.to_label,
            f"{joint.from_port or 'none'} to {joint.to_port or 'none'}",
            "fits" if joint.fits else "DOES NOT FIT",
        )
        for joint in found.connections
    ]
    ratings = [
        (
            rating.line,
            units.rating(rating.working_mpa) or "unknown",
            rating.limited_by,
            units.setting(rating.relief_mpa) or "unknown",
        )
        for rating in found.ratings.values()
    ]
    return (
        Grid(("Line", "From", "To", "Couplings", ""), connections, "Connections, from the pump"),
        Grid(("Line", "Working pressure", "Limited by", "Relief setting"), ratings, "Pressure"),
    )


def _bursts(hoses: Sequence[Part]) -> tuple[Grid, ...]:
    rows = [(hose.label, f"{hose.burst_ratio:g} : 1" if hose.burst_ratio else "unknown") for hose in hoses]
    return (Grid(("Hose", "Burst ratio"), rows, "Burst"),) if rows else ()


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


def gauge(asked: Asked) -> Answer:
    """How far a gauge may be off at a reading, by its class or grade."""
    accuracy = asked.need("class")
    with about("class"):
        read = read_accuracy(accuracy)
    range_mpa, reading_mpa = asked.measure("range", "pressure"), asked.measure("at", "pressure")
    with about("at"):
        off = gauge_error(read, range_mpa, reading_mpa, asked.units_of("at", "pressure"))
    share = reading_mpa / range_mpa
    facts = {
        "Accuracy": read.name,
        "May be off by": f"± {asked.units.setting(off.error_mpa)}",
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
    return Answer(values, facts, source, assumed, FOR_RECORDS)
