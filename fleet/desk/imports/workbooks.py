"""Reading XLSX. What a person does not see in a workbook, or sees otherwise than it is, is said."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any

import openpyxl
from defusedxml.ElementTree import fromstring
from openpyxl.utils import range_boundaries

from fleet.desk.imports.tables import MOST_COLUMNS, Doubt, make_table
from fleet.refusals import Unreadable

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from fleet.desk.imports.tables import Table

# A workbook unpacks to about ten times its size; far more is made to fill the memory.
MOST_UNPACKED = 400_000_000
MOST_PARTS = 2_000
MOST_RATIO = 200
_SMALL = 1_000_000
# The last row there can be in a workbook.
_LAST_ROW = 1_048_576
_EXACT_FIGURES = 15

_HIDDEN_ROW = re.compile(rb'<(?:\w+:)?row\b(?=[^>]*\bhidden="(?:1|true)")[^>]*\br="(\d+)"')
_HIDDEN_COLUMN = re.compile(rb'<(?:\w+:)?col\b(?=[^>]*\bhidden="(?:1|true)")')
_MERGED = re.compile(rb'<(?:\w+:)?mergeCell\b[^>]*\bref="([A-Z0-9:]+)"')
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"

_TYPE_AGAIN = "format the column as text and type it again"
_DATE = Doubt(
    "date cell",
    f"The spreadsheet program keeps this cell as a date or time, not as it was typed; {_TYPE_AGAIN}.",
)
_FORMULA = Doubt("formula", "This cell holds a formula; copy it and paste it as a value.")
_ERROR = Doubt("error cell", "This cell shows an error of the spreadsheet program; write the value itself.")
_LONG = Doubt(
    "long number",
    f"The spreadsheet program keeps only {_EXACT_FIGURES} figures of this number; {_TYPE_AGAIN}.",
)
_MERGE = Doubt(
    "merged cells", "This row lies in merged cells, of which only the first has a value; unmerge them."
)
DATE_RULE = _DATE.rule


def read_workbook(name: str, content: bytes) -> tuple[list[Table], list[str]]:
    """Read every visible worksheet; answer the tables, and notes on what is hidden or merged.

    Raises Unreadable for a file that is no workbook, is damaged, or unpacks to more than a workbook holds.
    """
    _check_size(name, content)
    try:
        with warnings.catch_warnings():
            # The library warns of styles and extensions it leaves out: they carry no values.
            warnings.simplefilter("ignore")
            return _read(name, content)
    except Unreadable:
        raise
    except Exception as error:  # The library raises whatever a damaged file makes it stumble over.
        raise Unreadable(
            f"{name} cannot be read as an Excel workbook: it is damaged or not one ({_root(error)}). "
            "Open it in the spreadsheet program and save it again as .xlsx."
        ) from error


def _root(error: BaseException) -> str:
    """What really went wrong: the library wraps it."""
    while error.__cause__:
        error = error.__cause__
    return type(error).__name__


def _check_size(name: str, content: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            parts = packed.infolist()
    except zipfile.BadZipFile as error:
        raise Unreadable(
            f"{name} is not an Excel workbook (.xlsx). Open it in the spreadsheet program and save it as one."
        ) from error
    unpacked = sum(part.file_size for part in parts)
    blown_up = any(
        part.file_size > MOST_RATIO * max(part.compress_size, 1) and part.file_size > _SMALL for part in parts
    )
    if len(parts) > MOST_PARTS or unpacked > MOST_UNPACKED or blown_up:
        raise Unreadable(
            f"{name} unpacks to {unpacked / 1e6:,.0f} MB in {len(parts):,} parts, far more than a workbook "
            "of this size holds; it was not read."
        )


def _read(name: str, content: bytes) -> tuple[list[Table], list[str]]:
    workbook = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=False)
    tables: list[Table] = []
    notes: list[str] = []
    for sheet in workbook.worksheets:
        where = f'{name}, worksheet "{sheet.title}"'
        if sheet.sheet_state != "visible":
            notes.append(f"{where} is hidden and was not read; show it in the file if it is to be imported.")
            continue
        merged = _look_beneath(where, _raw(content, sheet.title), notes)
        sheet.reset_dimensions()
        doubts: dict[tuple[int, int], Doubt] = {}
        rows = list(_rows(where, sheet.iter_rows(), doubts))
        _doubt_merged(rows, merged, doubts)
        table = make_table(name, sheet.title, rows, doubts, addressed=True)
        if table:
            tables.append(table)
    return tables, notes


def _raw(content: bytes, title: str) -> bytes:
    """The raw part of one worksheet: the reading library does not tell what is hidden or merged in it."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        book = fromstring(packed.read("xl/workbook.xml"))
        relations = fromstring(packed.read("xl/_rels/workbook.xml.rels"))
        targets = {one.get("Id"): (one.get("Target") or "").removeprefix("/xl/") for one in relations}
        for sheet in book.iter():
            if sheet.tag.endswith("}sheet") and sheet.get("name") == title:
                return packed.read(f"xl/{targets[sheet.get(_RELATION)]}")
    return b""


def _look_beneath(where: str, raw: bytes, notes: list[str]) -> list[tuple[int, int]]:
    """Note hidden rows and columns, which are read like others; answer the row ranges of merged cells."""
    rows = [int(number) for number in _HIDDEN_ROW.findall(raw)]
    if rows:
        notes.append(f"{where}: {_some('row', rows)} hidden and was read all the same.")
    if _HIDDEN_COLUMN.search(raw):
        notes.append(f"{where} has hidden columns; they were read all the same.")
    merged = []
    for ref in _MERGED.findall(raw):
        _, top, _, bottom = range_boundaries(ref.decode())
        merged.append((int(top or 1), int(bottom or _LAST_ROW)))
        notes.append(f"{where} has merged cells at {ref.decode()}.")
    return merged


def _some(word: str, numbers: Sequence[int]) -> str:
    shown = ", ".join(str(number) for number in numbers[:10])
    more = f" and {len(numbers) - 10} more" if len(numbers) > 10 else ""  # noqa: PLR2004  As many as are shown.
    return f"{word} {shown}{more} is"


def _doubt_merged(
    rows: Sequence[tuple[int, tuple[str, ...]]],
    merged: Iterable[tuple[int, int]],
    doubts: dict[tuple[int, int], Doubt],
) -> None:
    """Doubt every row that lies in merged cells: what was meant for it is not in it."""
    last = rows[-1][0] if rows else 0
    for top, bottom in merged:
        for number in range(top, min(bottom, last) + 1):
            doubts[number, -1] = _MERGE


def _rows(
    where: str, rows: Iterable[Sequence[Any]], doubts: dict[tuple[int, int], Doubt]
) -> Iterator[tuple[int, tuple[str, ...]]]:
    for number, cells in enumerate(rows, start=1):
        if number > _LAST_ROW:
            raise Unreadable(
                f"{where} has cells below row {_LAST_ROW:,}, which no workbook has; it is damaged."
            )
        if len(cells) > MOST_COLUMNS and any(cell.value is not None for cell in cells[MOST_COLUMNS:]):
            raise Unreadable(
                f"{where} has cells beyond column {MOST_COLUMNS} in row {number}; clear everything to the "
                "right of the table."
            )
        texts = []
        for at, cell in enumerate(cells[:MOST_COLUMNS]):
            value = cell.value
            if type(value) is str and cell.data_type == "s":
                texts.append(value.strip())
                continue
            text, doubt = _typed(value, cell.data_type)
            if text and cell.data_type == "n" and "%" in cell.number_format:
                # What is shown as 10 % is kept as 0.1.
                text = f"{_number(value * 100)[0]} %"
            if doubt:
                doubts[number, at] = doubt
            texts.append(text)
        yield number, tuple(texts)


def _typed(value: object, data_type: str) -> tuple[str, Doubt | None]:  # noqa: PLR0911  One answer per type of cell.
    """The text of a cell that is not plain text, and what is doubtful about it."""
    if value is None:
        return "", None
    if data_type == "f":
        # The formula of a whole range stands in an object of its own.
        return str(getattr(value, "text", value)), _FORMULA
    if data_type == "e":
        return str(value), _ERROR
    if isinstance(value, bool):
        return ("yes" if value else "no"), None
    if isinstance(value, int | float):
        return _number(value)
    if isinstance(value, datetime):
        return _moment(value), _DATE
    if isinstance(value, date):
        return value.isoformat(), _DATE
    if isinstance(value, time | timedelta):
        return str(value), _DATE
    return str(value).strip(), None


def _moment(value: datetime) -> str:
    if value.time() == time():
        return f"{value:%Y-%m-%d}"
    return f"{value:%Y-%m-%d %H:%M:%S}" if value.second or value.microsecond else f"{value:%Y-%m-%d %H:%M}"


def _number(value: float) -> tuple[str, Doubt | None]:
    """A number with all its figures and no exponent; one with more figures than are kept is doubtful."""
    if not float(value).is_integer():
        text = f"{value:.{_EXACT_FIGURES}g}"
        return (f"{value:.12f}".rstrip("0") if "e" in text else text), None
    text = str(int(value))
    return text, (_LONG if len(text.lstrip("-")) > _EXACT_FIGURES else None)
