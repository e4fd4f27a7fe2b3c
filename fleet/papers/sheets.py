"""The same evidence as sheets: one for each subject, every value as plain text or a whole number."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from fleet.lists.exports import SheetRows, as_cell

if TYPE_CHECKING:
    from collections.abc import Sequence
    from zoneinfo import ZoneInfo

    from fleet.lists.evidence import Section


def as_sheets(sections: Sequence[Section], there: ZoneInfo) -> list[SheetRows]:
    """A sheet per section; instants stand in the site's own time, with its distance from UTC."""
    return [
        SheetRows(
            section.title,
            section.columns,
            tuple(
                tuple(
                    value.astimezone(there).isoformat(" ", "minutes")
                    if isinstance(value, datetime)
                    else as_cell(value)
                    for value in row
                )
                for row in section.rows
            ),
        )
        for section in sections
    ]
