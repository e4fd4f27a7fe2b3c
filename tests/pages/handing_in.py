"""Handing sheets in as a browser does, and workbooks of every sort."""

from __future__ import annotations

import io
import zipfile
from typing import TYPE_CHECKING

import openpyxl

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tests.pages.browsing import Browser, Page

JOBS = "Job,Name,Site,Start,End,Crews\nNB-900,Boiler feed,NORTH,2026-08-01,2026-08-03,2\n"
LAUGHS = b"""<?xml version="1.0"?><!DOCTYPE w [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">
<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;"><!ENTITY d "&c;&c;&c;&c;&c;&c;&c;&c;&c;&c;">]>
<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData><row r="1">
<c r="A1" t="inlineStr"><is><t>&d;</t></is></c></row></sheetData></worksheet>"""
OUTSIDE = (
    b'<?xml version="1.0"?><!DOCTYPE w [<!ENTITY d SYSTEM "file:///etc/hostname">'
    + LAUGHS[LAUGHS.index(b"]>") :]
)


class Several(dict[str, tuple[str, bytes]]):
    """Several files of one field, which a mapping cannot hold."""

    def __init__(self, files: Sequence[tuple[str, bytes]]) -> None:
        super().__init__()
        self.files = files

    def items(self) -> list[tuple[str, tuple[str, bytes]]]:  # type: ignore[override]  # As said.
        return [("files", file) for file in self.files]


def sent(browser: Browser, *files: tuple[str, bytes | str]) -> Page:
    """Hand files in, and what is answered at once."""
    token = browser.get("/sheets").token
    given = [(name, content.encode() if isinstance(content, str) else content) for name, content in files]
    return browser.ask("POST", "/sheets", {"token": token}, files=Several(given))


def tried(browser: Browser, *files: tuple[str, bytes | str]) -> Page:
    """Hand files in; the page that says what would become of them, or why they cannot be read."""
    page = sent(browser, *files)
    return browser.follow(page) if page.status == 303 else page


def workbook(name: str, rows: Sequence[Sequence[str]]) -> bytes:
    """A workbook of one sheet."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet
    sheet.title = name
    for row in rows:
        sheet.append(list(row))
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def repacked(change: dict[str, bytes]) -> bytes:
    """A workbook with parts put in place of its own, or beside them."""
    file = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook("jobs", [["Job"]]))) as old,
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.namelist():
            new.writestr(part, change.get(part, old.read(part)))
        for part in sorted(change.keys() - set(old.namelist())):
            new.writestr(part, change[part])
    return file.getvalue()
