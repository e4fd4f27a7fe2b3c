"""Reading CSV, in the shapes in which spreadsheet programs write it."""

from __future__ import annotations

import codecs
import csv
import io
from typing import TYPE_CHECKING

from fleet.desk.imports.tables import MOST_COLUMNS, make_table
from fleet.refusals import Unreadable
from fleet.rules.headings import recognise
from fleet.rules.sheets import unguard

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.desk.imports.tables import Table

_DELIMITERS = ",;\t"
_SAVE_AS = 'save it as "CSV UTF-8" in the spreadsheet program and import it again'
# Longer than any row of headings.
_LONGEST_LINE = 10_000


def read_delimited(name: str, content: bytes) -> Table | None:
    """Read a CSV file with commas, semicolons or tabs between its cells; nothing when it is blank.

    Raises Unreadable when its letters or its quotation marks cannot be read without guessing.
    """
    text = _decode(name, content)
    delimiter = _delimiter(name, text)
    return make_table(name, "", list(_rows(name, text, delimiter)))


def _decode(name: str, content: bytes) -> str:
    """UTF-8, or UTF-16 that says so itself; everything else could only be guessed."""
    wide = content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    try:
        text = content.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise Unreadable(
            f"{name} is not written in UTF-8 (line {line} holds a letter of another code page); {_SAVE_AS}."
        ) from None
    if "\0" in text:
        raise Unreadable(f"{name} is not a text file: it holds zero bytes; {_SAVE_AS}.")
    return text


def _delimiter(name: str, text: str) -> str:
    """The one that makes most known headings of the first line; a comma where that does not decide."""
    first = next((line for line in text.splitlines() if line.strip(" ,;\t")), "")[:_LONGEST_LINE]
    if first.lower().startswith("sep=") and len(first) == len("sep=,"):
        return first[-1]

    def known(delimiter: str) -> tuple[int, int]:
        cells = [cell.strip() for cell in next(csv.reader([first], delimiter=delimiter), [])]
        found = recognise(cells, name.rsplit(".", 1)[0])
        return not found.faults, len(found.places)

    return max(_DELIMITERS, key=known)


def _rows(name: str, text: str, delimiter: str) -> Iterator[tuple[int, tuple[str, ...]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    number = 0
    try:
        for number, cells in enumerate(reader, start=1):
            if number == 1 and len(cells) <= 2 and "".join(cells).lower() in ("sep=", f"sep={delimiter}"):  # noqa: PLR2004  The line itself holds a delimiter.
                continue
            if len(cells) > MOST_COLUMNS:
                raise Unreadable(
                    f"Row {number} of {name} has {len(cells)} cells; no sheet has more than {MOST_COLUMNS}."
                )
            yield number, tuple(unguard(cell).strip() for cell in cells)
    except csv.Error as error:
        raise Unreadable(
            f"The quotation marks after row {number} of {name} (line {reader.line_num}) cannot be read "
            f"({error}); {_SAVE_AS}."
        ) from None
