"""The help text: commands under the headings of the people who use them.

Plain text: the decorated help of typer needs a second's worth of imports before it can print a line.
"""

from __future__ import annotations

from typing import Any

from typer.core import TyperGroup


class Grouped(TyperGroup):
    """Lists commands by their panel, in the order in which they were registered, with whole sentences."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ANN401  Typer's own, not public.
        """Write one section per panel."""
        panels: dict[str, list[tuple[str, str]]] = {}
        for name in self.list_commands(ctx):
            command: Any = self.get_command(ctx, name)
            if command is not None and not command.hidden:
                sentence = " ".join((command.help or "").split("\n\n")[0].split())
                panels.setdefault(command.rich_help_panel or "Commands", []).append((name, sentence))
        for panel, rows in panels.items():
            with formatter.section(panel):
                formatter.write_dl(rows)
