"""From a file's bytes to its tables."""

from __future__ import annotations

from fleet.desk.imports.delimited import read_delimited
from fleet.desk.imports.tables import ReadFile, digest
from fleet.desk.imports.workbooks import read_workbook
from fleet.refusals import Unreadable

# A hundred thousand items with long notes stay well under this.
MOST_BYTES = 100_000_000
_PACKED = b"PK\x03\x04"
# The old binary workbook, and a workbook under a password.
_OLD = b"\xd0\xcf\x11\xe0"


def read_file(name: str, content: bytes) -> ReadFile:
    """Read a CSV or XLSX file, by what is in it. Raises Unreadable with what to do instead."""
    if len(content) > MOST_BYTES:
        raise Unreadable(
            f"{name} has {len(content) / 1e6:,.0f} MB; at most {MOST_BYTES / 1e6:,.0f} MB are read."
        )
    if content.startswith(_OLD):
        raise Unreadable(
            f"{name} is an old (.xls) or password-protected workbook; save it as .xlsx without a password."
        )
    notes: list[str] = []
    if content.startswith(_PACKED) or name.lower().endswith(".xlsx"):
        tables, notes = read_workbook(name, content)
    else:
        table = read_delimited(name, content)
        tables = [table] if table else []
    if not tables:
        raise Unreadable(f"{name} is empty: it has no row of headings." + "".join(f" {n}" for n in notes))
    return ReadFile(name, digest(content), content, tuple(tables), tuple(notes))
