"""The evidence pack: everything on record about one item or one job, in one PDF with the day book's seals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fleet.lists.evidence import Section
from fleet.measures.tags import show_tag
from fleet.papers.cells import cell
from fleet.papers.pressing import Enclosure, press
from fleet.rules.cautions import FOR_RECORDS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from fleet.lists.evidence import KeptFile
    from fleet.rules.daybook import Seal

# The widest and the narrowest share of a column, in characters.
_WIDEST, _NARROWEST = 40, 6
# From so many rows on, a column that says the same in each is left out of the table.
_ALIKE = 3
_TAGS = ("Tag", "Gauge", "Paired gauge", "Wrench")


@dataclass(frozen=True, slots=True)
class Printed:
    """Who printed a paper, when, and how the day book stood then."""

    by: str
    at: datetime
    there: ZoneInfo
    seals: tuple[Seal, ...]

    @property
    def foot(self) -> str:
        """What stands at the foot of every page."""
        seals = ", ".join(f"chain {one.chain}: {one.seq} · {one.hash[:16]}" for one in self.seals)
        when = self.at.astimezone(self.there)
        return f"Printed by {self.by}, {cell(self.at, self.there)} ({when:%Z}). Day-book seals: {seals}."


def evidence_pack(
    title: str, lead: str, sections: Sequence[Section], printed: Printed, files: Sequence[KeptFile] = ()
) -> bytes:
    """The PDF of an evidence pack: every section, those with nothing on record too."""
    return _press(title, lead, sections, printed, files, wide=True)


# What the card of an item shows, and which rows of it: those that hold now.
_ON_CARD: dict[str, Callable[[dict[str, Any]], bool]] = {
    "Item": lambda _row: True,
    "Type plate": lambda _row: True,
    "What is due": lambda _row: True,
    "Limits of its own": lambda row: row["Ended at"] is None,
    "Holds": lambda row: row["Released at"] is None,
    "Charts": lambda row: row["Replaced at"] is None,
}
_LAST_ON_CARD = ("Inspections", "Proof tests", "Certificates", "Repairs")


def item_card(title: str, lead: str, sections: Sequence[Section], printed: Printed) -> bytes:
    """The PDF of an item's card: its plate, its chart, and how it stands now."""
    shown = []
    for section in sections:
        rows = section.rows
        if section.title in _ON_CARD:
            keep = _ON_CARD[section.title]
            rows = tuple(row for row in rows if keep(dict(zip(section.columns, row, strict=True))))
        elif section.title in _LAST_ON_CARD:
            rows = _last(section)
        else:
            continue
        if section.title == "Charts":
            rows = _in_force(rows)
        shown.append(Section(section.title, section.columns, rows))
    return _press(title, lead, shown, printed, (), wide=False)


def _last(section: Section) -> tuple[tuple[Any, ...], ...]:
    """The newest entry that still counts."""
    standing = [
        row
        for row in section.rows
        if not any(
            value and name in ("Withdraws", "Withdrawn by")
            for name, value in zip(section.columns, row, strict=True)
        )
    ]
    return tuple(standing[-1:])


def _in_force(rows: Sequence[tuple[Any, ...]]) -> tuple[tuple[Any, ...], ...]:
    """The chart that is read: an item's own goes before its model's."""
    own = tuple(row for row in rows if row[0] == "its own")
    return own or tuple(rows)


def _press(
    title: str,
    lead: str,
    sections: Sequence[Section],
    printed: Printed,
    files: Sequence[KeptFile],
    *,
    wide: bool,
) -> bytes:
    said = {
        "title": title,
        "lead": lead,
        "wide": wide,
        "foot": printed.foot,
        "sections": [_table(section, printed.there) for section in sections],
        "cautions": FOR_RECORDS,
    }
    enclosed = [
        Enclosure(f"file-{at}", file.media_type, file.content, f"File {file.sha256[:16]} {file.shown_as}")
        for at, file in enumerate(files, 1)
    ]
    return press("paper.typ", said, enclosed)


def _table(section: Section, there: ZoneInfo) -> dict[str, Any]:
    """A section without its empty columns; a single row is turned on its side."""
    tagged = [name in _TAGS for name in section.columns]
    rows = [
        [
            show_tag(value) if tag and value else cell(value, there)
            for tag, value in zip(tagged, row, strict=True)
        ]
        for row in section.rows
    ]
    used = [at for at in range(len(section.columns)) if any(row[at] for row in rows)]
    columns = [section.columns[at] for at in used]
    rows = [[row[at] for at in used] for row in rows]
    made = {
        "title": section.title,
        "turned": False,
        "said": "",
        "columns": columns,
        "shares": [],
        "rows": rows,
    }
    if len(rows) == 1 and len(columns) > 1:
        pairs = [list(pair) for pair in zip(columns, rows[0], strict=True)]
        return made | {"turned": True, "columns": [], "rows": pairs}
    alike = [at for at in range(len(columns)) if len(rows) >= _ALIKE and len({row[at] for row in rows}) == 1]
    if len(alike) < len(columns):
        # What is the same in every row is said once, above them.
        made["said"] = "; ".join(f"{columns[at]}: {rows[0][at]}" for at in alike)
        rows = [[text for at, text in enumerate(row) if at not in alike] for row in rows]
        columns = [name for at, name in enumerate(columns) if at not in alike]
    shares = [
        max(_NARROWEST, min(_WIDEST, max(len(word) for word in [columns[at], *(row[at] for row in rows)])))
        for at in range(len(columns))
    ]
    return made | {"columns": columns, "shares": shares, "rows": rows}
