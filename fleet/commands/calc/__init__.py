"""The engineering bench: every formula as a command, with its assumptions and its source.

Nothing here needs a database until something in the register is named.
"""

from __future__ import annotations

import typer

from fleet.commands.calc import bolts, certainty, charts, circuits, intervals, loosening, strokes, verdicts
from fleet.commands.grouping import Grouped

calc = typer.Typer(help="The engineering bench: check any figure of ours.", no_args_is_help=True, cls=Grouped)
for _module in (bolts, loosening, charts, strokes, circuits, certainty, verdicts, intervals):
    _module.register(calc)


def register(app: typer.Typer) -> None:
    """Put the group on the app."""
    app.add_typer(calc, name="calc", rich_help_panel="Planning")
