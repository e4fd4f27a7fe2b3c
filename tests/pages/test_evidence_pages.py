"""The evidence pack: three clicks from the start, the same content as PDF, workbook and CSV."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING
from zipfile import ZipFile

import openpyxl
import pypdfium2
import pytest
from playwright.sync_api import expect

from fleet.lists.daybook import seal
from tests.pages.busy import JOB, WRENCH, make_busy
from tests.pages.chromium import Chromium, on_sqlite

if TYPE_CHECKING:
    from tests.pages.browsing import Pages


@pytest.mark.parametrize("scripts", [True, False])
@on_sqlite
def test_three_clicks_from_the_start_lead_to_the_pdf(chromium: Chromium, *, scripts: bool) -> None:
    """Counted: the last click is the one that downloads it; typing what it is about is none."""
    clicks = 0
    page = chromium.page("officer", scripts=scripts)
    page.goto("/")
    page.get_by_label("Item or job").fill("20110-1")
    page.get_by_role("button", name="Show what it holds").click()
    clicks += 1
    expect(page.locator("h1")).to_contain_text("Evidence: wrench 20110-1")
    with page.expect_download() as wanted:
        page.get_by_role("link", name="Download the PDF").click()
    clicks += 1
    assert wanted.value.suggested_filename == f"evidence-item-{WRENCH}.pdf"
    assert clicks <= 3


@on_sqlite
def test_by_the_ways_at_the_top_it_is_three_clicks_too(chromium: Chromium) -> None:
    page = chromium.page("officer")
    page.goto("/review")
    page.get_by_role("link", name="Evidence", exact=True).click()
    page.get_by_label("Item or job").fill(JOB)
    page.get_by_role("button", name="Show what it holds").click()
    with page.expect_download() as wanted:
        page.get_by_role("link", name="Download the PDF").click()
    assert wanted.value.suggested_filename == f"evidence-job-{JOB}.pdf"


def test_it_says_what_it_holds_before_it_is_taken(demo: Pages) -> None:
    make_busy(demo.room)
    page = demo.as_("officer").get(f"/evidence?about={WRENCH}")
    for said in ("Loans", "Repairs nothing on record", "Day book", "How long records are kept"):
        assert said in page.text
    with demo.room.look() as db:
        assert str(seal(db, 1)).replace("·", " · ") in page.text


def test_the_pdf_holds_the_corrections_and_the_seals(demo: Pages) -> None:
    make_busy(demo.room)
    officer = demo.as_("officer")
    content = officer.ask_raw(f"/evidence.pdf?about={WRENCH}")
    document = pypdfium2.PdfDocument(content)
    words = " ".join(page.get_textpage().get_text_bounded() for page in document)
    words = " ".join(words.replace("\u200b", "").split())
    assert "It was another wrench" in words
    with demo.room.look() as db:
        newest = seal(db, 1)
    assert newest.hash[:16] in words
    assert "Printed by Petra Vansell" in words
    assert (
        f"1 of {len(document)}" in words or f"1 / {len(document)}" in words or f"1/{len(document)}" in words
    )


def test_workbook_and_csv_hold_the_same_rows(demo: Pages) -> None:
    make_busy(demo.room)
    officer = demo.as_("officer")
    book = openpyxl.load_workbook(io.BytesIO(officer.ask_raw(f"/evidence.xlsx?about={JOB}")), read_only=True)
    with ZipFile(io.BytesIO(officer.ask_raw(f"/evidence.zip?about={JOB}"))) as folder:
        names = {name for name in folder.namelist() if name.endswith(".csv")}
        assert names == {f"{sheet}.csv" for sheet in book.sheetnames}
        for sheet in book.sheetnames:
            lines = list(csv.reader(io.StringIO(folder.read(f"{sheet}.csv").decode())))
            rows = [[str(cell if cell is not None else "") for cell in row] for row in book[sheet].values]
            assert len(lines) == len(rows), sheet
            assert lines[0] == rows[0]


def test_what_is_not_there_or_elsewhere_is_said_in_one_sentence(demo: Pages) -> None:
    for who, about in (
        ("officer", "nothing"),
        ("elsewhere", WRENCH),
        ("elsewhere", JOB),
        ("officer", "<b>x"),
    ):
        browser = demo.as_(who)
        page = browser.get(f"/evidence?about={about.replace('<', '%3C').replace('>', '%3E')}")
        assert page.status == 404
        assert "Neither an item nor a job" in page.text
        assert "<b>x" not in page.body
        assert browser.get(f"/evidence.pdf?about={about.replace('<', '%3C')}").status == 404
    assert demo.as_("officer").get("/evidence?about=%20").status == 200


def test_a_tag_with_a_wrong_check_figure_is_not_guessed(demo: Pages) -> None:
    page = demo.as_("officer").get("/evidence?about=20110-2")
    assert page.status in (404, 422)
    assert "That did not work" in page.text
