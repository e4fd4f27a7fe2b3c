"""Labels in the browser: chosen by tags or kind, printed by a form, and noted in the day book."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING

import pypdfium2
import zxingcpp
from sqlalchemy import select

from fleet import records
from tests.pages.chromium import Chromium, on_sqlite
from tests.pages.filling import filled_in
from tests.pages.scanner import scan
from tests.pages.test_routes import everything

if TYPE_CHECKING:
    from tests.pages.browsing import Pages

WRENCH, HOSE = "201136", "201642"


def printed(demo: Pages) -> list[tuple[str, str]]:
    with demo.room.look() as db:
        entries = select(records.EntryRow.about, records.EntryRow.person_name)
        rows = db.execute(entries.where(records.EntryRow.act == "label printed"))
        return [(about, name) for about, name in rows]


def codes(pdf: bytes) -> list[str]:
    with pypdfium2.PdfDocument(BytesIO(pdf)) as document:
        images = [page.render(scale=300 / 72).to_pil() for page in document]
        return [code.text for image in images for code in zxingcpp.read_barcodes(image)]


def test_labels_are_printed_and_noted_each_time(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.get(f"/labels?tags=20113-6%0D%0A{HOSE}%20{WRENCH}")
    assert "To print (2)" in page.text
    assert "MWP" in page.text
    assert printed(demo) == []
    for times in (1, 2):
        answer = kim.ask("POST", "/labels.pdf", filled_in(page, "/labels.pdf"))
        assert (answer.status, answer.headers["content-type"]) == (200, "application/pdf")
        assert printed(demo) == [(WRENCH, "Marla Quistgard"), (HOSE, "Marla Quistgard")] * times


def test_what_has_no_label_yet_is_chosen(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.get("/labels?kind=gauge&new=yes")
    first = filled_in(page, "/labels.pdf")["all"][0].split()
    assert len(first) > 3
    kim.ask("POST", "/labels.pdf", {**filled_in(page, "/labels.pdf"), "all": " ".join(first[:3])})
    page = kim.get("/labels?kind=gauge&new=yes")
    assert filled_in(page, "/labels.pdf")["all"][0].split() == first[3:]
    assert filled_in(kim.get("/labels?kind=gauge"), "/labels.pdf")["all"][0].split() == first


def test_what_is_wrong_is_said_and_nothing_is_printed(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.get(f"/labels?tags={WRENCH}%20%3Cb%3E")
    assert "&lt;b&gt;" in page.body
    fields = filled_in(page, "/labels.pdf")
    before = everything(demo.room)
    for changed, status in (
        ({"size": "12 x 12"}, 409),
        ({"begin": "22"}, 409),
        ({"begin": "x"}, 422),
        ({"all": "none"}, 409),
        ({"all": ""}, 409),
    ):
        answer = kim.ask("POST", "/labels.pdf", {**fields, **changed})
        assert answer.status == status, answer.text
        assert 'id="error"' in answer.body
    after = everything(demo.room)
    assert [name for name, rows in before.items() if after[name] != rows and name != "session"] == []


def test_only_a_keeper_prints_and_only_what_is_of_their_site(demo: Pages) -> None:
    fields = filled_in(demo.as_("keeper").get(f"/labels?tags={WRENCH}"), "/labels.pdf")
    for who, status in (("planner", 403), ("officer", 403), ("elsewhere", 409)):
        browser = demo.as_(who)
        answer = browser.ask("POST", "/labels.pdf", {**fields, "token": browser.get("/own").token})
        assert answer.status == status
    assert printed(demo) == []


@on_sqlite
def test_tags_are_scanned_into_the_field_and_the_paper_comes_down(chromium: Chromium) -> None:
    page = chromium.page("keeper")
    page.goto("/labels")
    page.focus("#tags")
    for tag in (WRENCH, HOSE):
        scan(page, tag)
    assert page.input_value("#tags").split() == [WRENCH, HOSE]
    page.click("button:has-text('Show what would be printed')")
    page.wait_for_selector("h2:has-text('To print (2)')")
    with page.expect_download() as coming:
        page.click("button:has-text('Print 2 labels')")
    assert coming.value.suggested_filename == "labels.pdf"
    assert sorted(codes(coming.value.path().read_bytes())) == [WRENCH, HOSE]
