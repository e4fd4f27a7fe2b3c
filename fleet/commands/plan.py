"""Plans: the weeks ahead, and a whole period's jobs against the fleet."""

from __future__ import annotations

import typer

from fleet.commands import planmake, planupkeep, weeks
from fleet.commands.grouping import Grouped

plan = typer.Typer(
    help="The weeks ahead: what is kept for which job, and what is short.",
    no_args_is_help=True,
    cls=Grouped,
)
weeks.register(plan)
planmake.register(plan)
planupkeep.register(plan)


def register(app: typer.Typer) -> None:
    """Put the group on the app."""
    app.add_typer(plan, name="plan", rich_help_panel="Planning")
