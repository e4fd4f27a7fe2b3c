"""Reading files: what the spreadsheet programs of this world write, and what somebody might send instead."""

from __future__ import annotations

import io
import re
import zipfile
from datetime import date, datetime

import openpyxl
import pytest
import xlsxwriter

from fleet.desk.imports import ReadFile, read_file
from fleet.refusals import Unreadable
from fleet.rules.sheets import SHEETS
from tests.importing import workbook

HIDDEN = (
    'room.xlsx, worksheet "lists" is hidden and was not read; show it in the file if it is to be imported.'
)
HEADINGS = ("Model", "Serial", "Site", "Shelf")


def cells(file: ReadFile) -> list[tuple[str, ...]]:
    (table,) = file.tables
    assert table.recognised.faults == ()
    return [row for _, row in table.rows]


def doubts(file: ReadFile) -> dict[tuple[int, int], str]:
    (table,) = file.tables
    return {place: doubt.rule for place, doubt in table.doubts.items()}


def named(value: str | bytes) -> str:
    """A test is named by the sentence it expects; the bytes of its file would fill the screen."""
    return value if isinstance(value, str) else f"{len(value)} bytes"


# --- CSV ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16"])
def test_the_usual_shapes_of_csv(delimiter: str, coding: str) -> None:
    text = (
        delimiter.join(HEADINGS) + "\r\n" + delimiter.join(("W-500", "00123", "NORTH", "Regal Süd")) + "\r\n"
    )

    assert cells(read_file("items.csv", text.encode(coding))) == [("W-500", "00123", "NORTH", "Regal Süd")]


def test_a_line_that_names_the_separator() -> None:
    file = read_file("items.csv", b"sep=;\nModel;Serial;Site\nW-500;1,5;NORTH\n")

    assert cells(file) == [("W-500", "1,5", "NORTH")]
    assert file.tables[0].heading_row == 2


def test_quotes_commas_and_line_ends_inside_a_cell() -> None:
    text = 'Model,Serial,Site,Shelf\nW-500,"a,b","NORTH","behind ""B""\nsecond line"\n'

    assert cells(read_file("items.csv", text.encode())) == [
        ("W-500", "a,b", "NORTH", 'behind "B"\nsecond line')
    ]


def test_row_numbers_are_those_of_the_spreadsheet_program() -> None:
    text = '\n\nModel,Serial,Site\nW-500,"1\n2",NORTH\n\nW-500,3,NORTH\n'
    (table,) = read_file("items.csv", text.encode()).tables

    assert table.heading_row == 3
    assert [(number, any(row)) for number, row in table.rows] == [(4, True), (5, False), (6, True)]


def test_an_apostrophe_against_formulas_is_taken_off_again() -> None:
    text = "Model,Serial,Site,Shelf\n'=W,'-5,'+1,''=x\n'quoted,it's,',a'=b\n"

    assert cells(read_file("items.csv", text.encode())) == [
        ("=W", "-5", "+1", "'=x"),
        ("'quoted", "it's", "'", "a'=b"),
    ]


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "items.csv is empty"),
        (b"\n \n,,\n", "items.csv is empty"),
        ("Model,Serial\nW,S\xfcd".encode("cp1252"), "not written in UTF-8 (line 2"),
        ("Model,Serial\n".encode("utf-16-le"), "not a text file: it holds zero bytes"),
        (b"\xff\xfeM", "not written in UTF-8"),
        (b'Model,Serial,Site\nW-500,"1,NORTH\n', "quotation marks after row 1"),
        (b'Model,Serial,Site\nW-500,"1"2,NORTH\n', "quotation marks after row 1"),
        (b"Model,Serial,Site\n" + b"," * 300, "no sheet has more than 200"),
        (b"\xd0\xcf\x11\xe0 and so on", "old (.xls) or password-protected workbook"),
        (b"x" * 100_000_001, "at most 100 MB are read"),
        (b"a" * 200_000, "cannot be read"),
    ],
    ids=named,
)
def test_files_that_cannot_be_read_say_what_to_do(content: bytes, sentence: str) -> None:
    with pytest.raises(Unreadable, match=re.escape(sentence)):
        read_file("items.csv", content)


# --- Workbooks ----------------------------------------------------------------------------------------------


def test_text_cells_are_read_as_they_stand() -> None:
    rows = [HEADINGS, ("W-500", "00123", "NORTH", None), ("W-500", "2E5", "MAR1", " 1-2 ")]

    assert cells(read_file("room.xlsx", workbook({"items": rows}))) == [
        ("W-500", "00123", "NORTH", ""),
        ("W-500", "2E5", "MAR1", "1-2"),
    ]


def test_number_cells_are_read_with_all_their_figures() -> None:
    rows = [("Model", "Serial", "Site"), (3400, 123456789012345, 0.1), (1e-7, 3400.5, 2e15)]

    assert cells(read_file("room.xlsx", workbook({"items": rows}))) == [
        ("3400", "123456789012345", "0.1"),
        ("0.0000001", "3400.5", "2000000000000000"),
    ]


def test_a_number_with_more_figures_than_are_kept_is_doubted() -> None:
    file = read_file(
        "room.xlsx", workbook({"items": [("Model", "Serial", "Site"), ("W", 1.2345678901234567e17, "N")]})
    )

    assert doubts(file) == {(2, 1): "long number"}


def test_day_cells_are_days_where_days_belong_and_doubted_elsewhere() -> None:
    rows = [
        ("Model", "Serial", "Site", "Received"),
        ("W-500", date(2026, 3, 1), "NORTH", date(2026, 5, 4)),
        ("W-500", "7", "NORTH", datetime(2026, 5, 4, 7, 30)),  # noqa: DTZ001  A cell has no zone.
    ]
    buffer = io.BytesIO()
    with xlsxwriter.Workbook(buffer, {"default_date_format": "yyyy-mm-dd hh:mm"}) as book:
        page = book.add_worksheet("items")
        for at, row in enumerate(rows):
            page.write_row(at, 0, row)
    file = read_file("room.xlsx", buffer.getvalue())

    assert [row[3] for row in cells(file)] == ["2026-05-04", "2026-05-04 07:30"]
    assert doubts(file)[2, 1] == "date cell"


def test_percent_cells_are_read_as_they_are_shown() -> None:
    rows = [("Job", "Joint", "Bolts", "Torque", "Tolerance percent"), ("J", "F", 8, "1 Nm", (0.1, "percent"))]
    file = read_file("room.xlsx", workbook({"joints": rows}, percent={"num_format": "0 %"}))

    assert cells(file)[0][4] == "10 %"


def test_formulas_and_error_cells_are_doubted_and_never_run() -> None:
    rows = [("Model", "Serial", "Site"), ("W-500", "=1+1", "NORTH"), ("W-500", "=NA()", "NORTH")]
    file = read_file("room.xlsx", workbook({"items": rows}))

    assert doubts(file) == {(2, 1): "formula", (3, 1): "formula"}
    assert cells(file)[0][1] == "=1+1"


def test_what_a_person_does_not_see_is_said() -> None:
    buffer = io.BytesIO()
    with xlsxwriter.Workbook(buffer) as book:
        page = book.add_worksheet("items")
        for at, row in enumerate(
            (HEADINGS, ("W", "1", "N", "a"), ("W", "2", "N", "b"), ("W", "3", "N", "c"))
        ):
            page.write_row(at, 0, row)
        page.set_row(1, None, None, {"hidden": True})
        page.set_column(3, 3, None, None, {"hidden": True})
        page.merge_range("D3:D4", "both")
        book.add_worksheet("lists").hide()
    file = read_file("room.xlsx", buffer.getvalue())

    assert file.notes == (
        'room.xlsx, worksheet "items": row 2 is hidden and was read all the same.',
        'room.xlsx, worksheet "items" has hidden columns; they were read all the same.',
        'room.xlsx, worksheet "items" has merged cells at D3:D4.',
        HIDDEN,
    )
    assert doubts(file) == {(3, -1): "merged cells", (4, -1): "merged cells"}
    assert len(cells(file)) == 3


def test_every_worksheet_is_a_table() -> None:
    file = read_file(
        "room.xlsx", workbook({sheet.name: [sheet.headings] for sheet in SHEETS} | {"empty": []})
    )

    assert [table.recognised.sheet for table in file.tables] == list(SHEETS)
    assert all(table.recognised.faults == () for table in file.tables)


def test_a_workbook_of_another_program() -> None:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.append(HEADINGS)
    for number in range(3):
        page.append(["W-500", number, "NORTH", "=1"])
    buffer = io.BytesIO()
    book.save(buffer)
    file = read_file("room.xlsx", buffer.getvalue())

    assert [row[1] for row in cells(file)] == ["0", "1", "2"]
    assert set(doubts(file).values()) == {"formula"}


def packed(**parts: bytes) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return buffer.getvalue()


def changed(content: bytes, name: str, old: bytes, new: bytes) -> bytes:
    """A workbook one of whose parts says something else."""
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as book,
        zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as out,
    ):
        for part in book.namelist():
            text = book.read(part)
            assert part != name or old in text
            out.writestr(part, text.replace(old, new) if part == name else text)
    return buffer.getvalue()


SOUND = workbook({"items": [HEADINGS, ("W-500", "1", "NORTH", "A1")]})


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"PK\x03\x04 and nothing more", "is not an Excel workbook"),
        (SOUND[: len(SOUND) // 2], "is not an Excel workbook"),
        (packed(a=b"1"), "damaged or not one (KeyError)"),
        (packed(bomb=b"0" * 30_000_000), "unpacks to 30 MB in 1 parts"),
        (packed(**{f"p{number}": b"" for number in range(2_001)}), "in 2,001 parts"),
        (changed(SOUND, "xl/workbook.xml", b"<workbook", b"<workbok"), "damaged or not one"),
        (
            changed(
                SOUND,
                "xl/workbook.xml",
                b"<workbook",
                b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]><workbook',
            ),
            "(EntitiesForbidden)",
        ),
        (
            changed(SOUND, "xl/worksheets/sheet1.xml", b'r="D2"', b'r="XFD2"'),
            "cells beyond column 200 in row 2",
        ),
        (
            changed(SOUND, "xl/worksheets/sheet1.xml", b'"2"', b'"1048577"'),
            "cells below row 1,048,576",
        ),
        (workbook({"a": [], "b": []}), "is empty"),
    ],
    ids=named,
)
def test_workbooks_that_mean_harm_or_are_damaged(content: bytes, sentence: str) -> None:
    with pytest.raises(Unreadable, match=re.escape(sentence)):
        read_file("room.xlsx", content)


def test_a_long_workbook(*, deep: bool) -> None:
    rows = 70_000 if deep else 2_000
    content = workbook(
        {"items": [HEADINGS, *[("W-500", f"S{number:06d}", "NORTH", "A1") for number in range(rows)]]}
    )
    file = read_file("room.xlsx", content)

    assert len(cells(file)) == rows
    assert file.tables[0].rows[-1] == (rows + 1, ("W-500", f"S{rows - 1:06d}", "NORTH", "A1"))
