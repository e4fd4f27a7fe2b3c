"""How a circuit and a checked kit are printed: one way, whichever command asks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from fleet.commands.printing import print_cautions, print_facts, print_line, print_table

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleet.bolting.circuits import Circuit
    from fleet.bolting.figures import Units
    from fleet.bolting.findings import Finding
    from fleet.lists.kits import KitCheck
    from fleet.rules.kits import JointFacts


def print_circuit(circuit: Circuit, units: Units) -> None:
    """What is connected to what, and what each line may stand."""
    from fleet.papers.bench.circuits import circuit_grids

    for grid in circuit_grids(circuit, units):
        print_table(grid.columns, grid.rows, title=grid.title, fit=True)


def print_findings(findings: Iterable[Finding], *, about: str = "") -> None:
    """A line per finding, how grave it is first."""
    from fleet.papers.bench.circuits import say

    for finding in findings:
        print_line(f"  {say(finding, about=about)}", hang=4, fit=True)


def print_check(answer: KitCheck, joint: JointFacts, units: Units) -> None:
    """The whole of a kit check."""
    from fleet.commands.loans import print_verdicts
    from fleet.rules.cautions import FOR_A_KIT
    from fleet.rules.kit_figures import kit_figures
    from fleet.rules.sources import SOURCE_OF_KITS

    may = "MAY" if answer.usable else "MAY NOT"
    print_line(f"This kit {may} be used on {joint.mark}.", fit=True)
    typer.echo()
    print_circuit(answer.kit.circuit, units)
    print_verdicts(answer.items, fit=True)
    print_facts(kit_figures(answer.kit, joint, units), title=f"Joint {joint.mark}", fit=True)
    print_findings(answer.kit.findings)
    _print_instead(answer, units)
    print_line(f"Source: {SOURCE_OF_KITS}", hang=2, fit=True)
    print_cautions(FOR_A_KIT)


def _print_instead(answer: KitCheck, units: Units) -> None:
    """What would do in place of a wrench that is too weak."""
    from fleet.commands.showing import tag

    instead = answer.instead
    if instead:
        socket = f", with socket {tag(instead.socket)}" if instead.socket else ""
        print_line(
            f"Would do with the rest of this kit: {tag(instead.tag)}, {instead.model}{socket}, which gives "
            f"{units.given(instead.available_nm)}.",
            fit=True,
        )
    elif answer.hire:
        print_line(f"Nothing at this site would do. Hire {answer.hire}.", fit=True)
    elif answer.first:
        print_line("No other wrench would help before the rest of the kit is put right.", fit=True)
