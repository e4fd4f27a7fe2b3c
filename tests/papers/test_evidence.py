"""Papers: nothing on record is missing, nobody's words become markup, and each page says its place."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import pypdfium2
import pytest

from fleet import records
from fleet.lists.daybook import seal
from fleet.lists.evidence import KeptFile, Section, item_evidence, item_files, job_evidence, job_files
from fleet.measures.tags import show_tag
from fleet.measures.times import zone
from fleet.papers.evidence import Printed, evidence_pack, item_card
from fleet.papers.sheets import as_sheets
from fleet.rules.daybook import Seal
from tests.papers.told import HOSTILE, Told
from tests.shop import NOON, TODAY, ZONE

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop

PRINTED = Printed("Sam Safety", NOON, zone(ZONE), (Seal(0, 0, "0" * 64), Seal(1, 7, "ab" * 32)))


def text_of(pdf: bytes) -> list[str]:
    """The text of each page, without the marks at which a long word may break."""
    with pypdfium2.PdfDocument(pdf) as document:
        pages = [page.get_textpage().get_text_bounded() for page in document]
    return [" ".join(page.replace("\u200b", "").replace("\ufffe", "").split()) for page in pages]


@pytest.fixture
def told(shop: Shop) -> Told:
    return Told(shop)


def item_pack(room: Room, told: Told) -> tuple[list[Section], list[KeptFile]]:
    with room.look() as db:
        return item_evidence(db, told.item, told.tag), item_files(db, told.item)


EMPTY_HERE = {"Proof tests", "Sent away", "Limits of its own", "Day book"}


def test_the_pack_of_an_item_has_every_subject(room: Room, told: Told) -> None:
    sections, files = item_pack(room, told)

    assert {section.title for section in sections if not section.rows} == EMPTY_HERE
    assert all(len(row) == len(section.columns) for section in sections for row in section.rows)
    assert [file.shown_as for file in files] == [
        "of certificate 1: as received",
        "of inspection 1: dent in the arm",
    ]
    pages = text_of(evidence_pack("Evidence", "All of it.", sections, PRINTED, files))
    said = " ".join(pages)
    for words in (
        *(section.title for section in sections),
        "C-77",
        "torque transducer 5 kN·m",
        "keyed to the wrong tag",
        "a nought too many",
        "-9000",
        "piston seals renewed",
        "arm bent at the counter",
        "The only one that reaches.",
        "below the lower limit of the joint",
        "dent in the arm",
        "Nothing on record.",
        "maker's manual",
    ):
        assert words.replace("'", "’") in said.replace("'", "’"), words


def test_the_pack_of_a_job_says_on_what_each_item_went_out(room: Room, told: Told) -> None:
    with room.look() as db:
        sections = {one.title: one for one in job_evidence(db, told.job, "J-9")}
        files = job_files(db, told.job)

    stood = sections["On what evidence it went out"]
    assert [dict(zip(stood.columns, row, strict=True))["Certificate"] for row in stood.rows] == ["C-77"]
    assert [row[0] for row in sections["What went out"].rows] == [told.tag]
    assert [row[2] for row in sections["Use"].rows] == [None, None, "F-12"]
    assert len(sections["Touched by an impact review"].rows) == 1
    assert [file.media_type for file in files] == ["text/csv"]


def test_an_entry_withdrawn_later_no_longer_stands_behind_a_loan(room: Room, told: Told) -> None:
    told.shop.put(
        records.UpkeepRow,
        client_id="later",
        item_id=told.item,
        task_id=told.task,
        done_on=TODAY - timedelta(days=30),
        cycles_at=0,
        minutes_at=0,
        recorded_at=NOON,
        withdraws_id=1,
        reason="certificate was forged",
    )
    with room.look() as db:
        sections = {one.title: one for one in job_evidence(db, told.job, "J-9")}
    assert sections["On what evidence it went out"].rows == ()


def test_every_page_says_which_it_is_who_printed_it_and_how_the_day_book_stood(
    room: Room, told: Told
) -> None:
    sections, files = item_pack(room, told)
    pages = text_of(evidence_pack("Evidence", "All of it.", sections, PRINTED, files))

    assert len(pages) > 1
    for number, page in enumerate(pages, 1):
        assert f"Page {number} of {len(pages)}" in page
        assert "Printed by Sam Safety, 13 May 2026 12:00 (CDT)" in page
        assert "chain 1: 7 · abababababababab" in page


def test_words_of_people_are_never_read_as_markup(room: Room, told: Told) -> None:
    sections, files = item_pack(room, told)
    pages = text_of(evidence_pack(HOSTILE, HOSTILE, sections, replace(PRINTED, by=HOSTILE), files))
    assert pages[0].count('#panic("x") *bold* <a>') >= 3


def test_the_same_record_gives_the_same_paper(room: Room, told: Told) -> None:
    sections, files = item_pack(room, told)
    once, again = (evidence_pack("Evidence", "All.", sections, PRINTED, files) for _ in range(2))
    assert once == again


def test_a_paper_is_tagged_and_carries_the_certificate_as_it_came(room: Room, told: Told) -> None:
    sections, files = item_pack(room, told)
    pdf = evidence_pack("Evidence", "All.", sections, PRINTED, files)

    with pypdfium2.PdfDocument(pdf) as document:
        assert document.is_tagged()
        held = [document.get_attachment(at) for at in range(document.count_attachments())]
        assert [bytes(one.get_data()) for one in held] == [b"stage,pressure,torque\n"]


def test_the_card_shows_what_holds_now_and_leaves_the_past_out(room: Room, told: Told) -> None:
    sections, _files = item_pack(room, told)
    page = " ".join(text_of(item_card(f"Item {show_tag(told.tag)}", "Now.", sections, PRINTED)))

    assert "arm bent at the counter" in page
    assert "2,100" in page.replace("2100", "2,100")
    assert "C-77" in page
    assert "a nought too many" not in page
    assert "keyed to the wrong tag" not in page


def test_the_sheets_hold_the_same_rows(room: Room, told: Told) -> None:
    sections, _files = item_pack(room, told)
    sheets = as_sheets(sections, zone(ZONE))

    assert [(one.name, one.headings, len(one.rows)) for one in sheets] == [
        (one.title, one.columns, len(one.rows)) for one in sections
    ]
    holds = next(one for one in sheets if one.name == "Holds")
    assert holds.rows[0][3] == "2026-05-13 12:00-05:00"


def test_the_seal_of_an_empty_book_can_be_printed(room: Room) -> None:
    with room.look() as db:
        assert Printed("K", NOON, zone(ZONE), (seal(db, 0),)).foot.startswith("Printed by K, 13 May 2026")
