"""One import at work: its rows, what it refuses, what it changes, and what must be brought up to date."""

from __future__ import annotations

from collections import Counter, defaultdict
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from fleet.desk.imports.known import Known
from fleet.desk.imports.report import Change, Rejection, TableReport
from fleet.desk.imports.tables import Doubt
from fleet.desk.imports.workbooks import DATE_RULE
from fleet.refusals import Refusal
from fleet.rules.cells import CellRefused
from fleet.rules.people import require, require_anywhere
from fleet.rules.sheets import SHEETS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.desk.imports.tables import Table
    from fleet.rules.cells import Field
    from fleet.rules.people import Actor
    from fleet.rules.register import Role

    Tell = Callable[[str, int, int], None]

SHARED = 0
"""The day-book chain of what belongs to no site."""

# How often a long import says where it is, in rows.
STEP = 2_000
# Cells whose reading is remembered per column: most columns repeat a few values.
_REMEMBERED = 50_000

_NEEDED = Doubt("missing", "This cell must not be blank.")


@dataclass(slots=True)
class Line:
    """One row whose cells could all be read; ``values`` are by column of the record."""

    table: Table
    number: int
    cells: tuple[str, ...]
    values: dict[str, Any]

    def cell(self, heading: str) -> str:
        """The text under a heading, or nothing when the table has no such column."""
        place = self.table.recognised.places.get(heading)
        return self.cells[place.at] if place else ""

    @property
    def where(self) -> str:
        """For another row's sentence: ``row 7 of items.csv``."""
        return f"row {self.number} of {self.table.label}"


@dataclass(slots=True)
class Work:
    """One call of the import: the transaction, who acts, and everything gathered on the way."""

    db: Connection
    by: Actor
    now: datetime
    tell: Tell
    known: Known = field(init=False)
    counts: dict[int, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    rejections: list[Rejection] = field(default_factory=list)
    changes: dict[int, list[Change]] = field(default_factory=lambda: defaultdict(list))
    written: dict[int, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    notes: list[str] = field(default_factory=list)
    unread: list[Line] = field(default_factory=list)
    due_again: set[int] = field(default_factory=set)
    # Items, and models whose items, have another plate or chart than before.
    items_to_rate: set[int] = field(default_factory=set)
    models_to_rate: set[int] = field(default_factory=set)
    _allowed: dict[tuple[int, tuple[Role, ...]], str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.known = Known(self.db, self.now)

    def lines(self, tables: Sequence[Table], fields: Sequence[Field]) -> Iterator[Line]:
        """Every row of the tables that can be read; the others are counted and their faults kept."""
        for table in tables:
            remembered: dict[str, dict[str, Any]] = defaultdict(dict)
            columns = [
                (place.at, place.unit, one, remembered[one.heading])
                for one in fields
                if (place := table.recognised.places.get(one.heading))
            ]
            for done, (number, cells) in enumerate(table.rows):
                if done % STEP == 0:
                    self.tell(f"reading {table.label}", done, len(table.rows))
                if not any(cells):
                    self.counts[id(table)]["blank"] += 1
                elif (values := self._values(table, number, cells, columns)) is not None:
                    yield Line(table, number, cells, values)
                else:
                    self.unread.append(Line(table, number, cells, {}))

    def _values(
        self, table: Table, number: int, cells: tuple[str, ...], columns: Sequence[Any]
    ) -> dict[str, Any] | None:
        values: dict[str, Any] = {}
        faults: list[tuple[str, str, Doubt]] = []
        if len(cells) != len(table.headings):
            self._reject(table, number, [("", "", _width(table, cells))])
            return None
        if table.doubts and (merged := table.doubts.get((number, -1))):
            self._reject(table, number, [("", "", merged)])
            return None
        for at, unit, column, remembered in columns:
            cell = cells[at]
            got = remembered.get(cell)
            if got is None:
                got = _read(column, cell, unit)
                if len(remembered) < _REMEMBERED:
                    remembered[cell] = got
            doubt = table.doubts.get((number, at)) if table.doubts else None
            if doubt and not (column.dated and doubt.rule == DATE_RULE):
                got = doubt
            if type(got) is Doubt:
                faults.append((table.headings[at], cell, got))
            else:
                values.update(got)
        if faults:
            self._reject(table, number, faults)
            return None
        return values

    @contextmanager
    def judging(self, *lines: Line) -> Iterator[None]:
        """Whatever is refused inside is the fault of these rows, and the work goes on with the next."""
        try:
            yield
        except Refusal as refusal:
            for line in lines:
                self.refuse(line, refusal)

    def refuse(self, line: Line, refusal: Refusal) -> None:
        """Keep the fault of a row that could be read."""
        rule, column = "not possible", ""
        if isinstance(refusal, CellRefused):
            rule, column = refusal.rule, refusal.column
        place = line.table.recognised.places.get(column)
        heading = line.table.headings[place.at] if place else column
        self._reject(line.table, line.number, [(heading, line.cell(column), Doubt(rule, str(refusal)))])

    def refuse_table(self, table: Table) -> None:
        """Refuse every row of a table whose headings cannot be used."""
        sheet = table.recognised.sheet
        for fault in table.recognised.faults:
            self.rejections.append(
                Rejection(
                    file=table.label,
                    sheet=sheet.name if sheet else "",
                    row=table.heading_row,
                    column=fault.heading,
                    value="",
                    rule=fault.rule,
                    sentence=fault.sentence,
                )
            )
        blank = sum(not any(cells) for _, cells in table.rows)
        self.counts[id(table)].update({"blank": blank, "rejected": len(table.rows) - blank})

    def _reject(self, table: Table, number: int, faults: Sequence[tuple[str, str, Doubt]]) -> None:
        sheet = table.recognised.sheet
        self.counts[id(table)]["rejected"] += 1
        for heading, cell, doubt in faults:
            self.rejections.append(
                Rejection(
                    file=table.label,
                    sheet=sheet.name if sheet else "",
                    row=number,
                    column=heading,
                    value=cell,
                    rule=doubt.rule,
                    sentence=doubt.sentence,
                )
            )

    def allow(self, chain: int, *roles: Role) -> None:
        """Refuse unless the actor holds one of the roles at the site, or anywhere for what is shared."""
        key = (chain, roles)
        if key not in self._allowed:
            try:
                if chain == SHARED:
                    require_anywhere(self.by, *roles)
                else:
                    require(self.by, chain, self.known.sites_by_id[chain].name, *roles)
                self._allowed[key] = ""
            except Refusal as refusal:
                self._allowed[key] = str(refusal)
        if self._allowed[key]:
            raise CellRefused("role", self._allowed[key])

    def count(self, line: Line, what: str, chain: int, changes: Sequence[Change] = ()) -> None:
        """Count an accepted row: new, changed or unchanged; what was written goes into the chain's entry."""
        self.counts[id(line.table)][what] += 1
        if what != "unchanged":
            self.written[chain][f"{_sheet(line.table)}, {what}"] += 1
            self.changes[chain].extend(changes)

    def table_reports(self, tables: Sequence[Table]) -> tuple[TableReport, ...]:
        """What became of each table's rows."""
        return tuple(
            TableReport(
                file=table.label,
                sheet=_sheet(table),
                rows=len(table.rows),
                **{what: self.counts[id(table)][what] for what in _WHAT},
            )
            for table in tables
        )


_WHAT = ("new", "changed", "unchanged", "rejected", "blank")
_ORDER = {sheet.name: at for at, sheet in enumerate(SHEETS)}


def _sheet(table: Table) -> str:
    return table.recognised.sheet.name if table.recognised.sheet else "not recognised"


def _read(column: Field, cell: str, unit: str | None) -> dict[str, Any] | Doubt:
    """The record's values of one cell, or why there are none. The record keeps what an absent key names."""
    if not cell:
        if column.empty is None:
            return _NEEDED
        return {} if column.keeps else dict(zip(column.into, column.empty, strict=True))
    try:
        return dict(zip(column.into, column.read(cell, unit), strict=True))
    except CellRefused as refusal:
        return Doubt(refusal.rule, str(refusal))
    except Refusal as refusal:
        return Doubt("unreadable", str(refusal))


def _width(table: Table, cells: tuple[str, ...]) -> Doubt:
    return Doubt(
        "width",
        f"This row has {len(cells)} cells under {len(table.headings)} headings, so it is not sure which "
        "belongs where; put text that holds the separator into quotation marks.",
    )
