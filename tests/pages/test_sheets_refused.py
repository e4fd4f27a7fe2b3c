"""What is no sheet, or claims to be one, is refused in a sentence; names are only shown."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fleet.pages.uploads import plain_name
from tests.pages.handing_in import JOBS, LAUGHS, OUTSIDE, repacked, tried, workbook

if TYPE_CHECKING:
    from tests.pages.browsing import Pages


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("bomb.xlsx", repacked({"xl/worksheets/sheet1.xml": b"<a>" + b" " * 60_000_000})),
        ("laughs.xlsx", repacked({"xl/worksheets/sheet1.xml": LAUGHS})),
        ("outside.xlsx", repacked({"xl/worksheets/sheet1.xml": OUTSIDE})),
        ("styles.xlsx", repacked({"xl/styles.xml": LAUGHS})),
        ("book.xlsx", repacked({"xl/workbook.xml": LAUGHS})),
        ("half.xlsx", workbook("jobs", [["Job"]])[:200]),
        ("many.xlsx", repacked({f"xl/{number}.xml": b"" for number in range(2100)})),
        ("up.xlsx", repacked({"../../../../tmp/evil.txt": b"out", "xl/workbook.xml": b"<w/>"})),
        ("picture.csv", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20),
        ("both.csv", b"%PDF-1.7\n" + workbook("jobs", [["Job"]])),
        ("page.xlsx", b"<!DOCTYPE html><script>alert(1)</script>"),
        ("old.xls", b"\xd0\xcf\x11\xe0" + b"\0" * 512),
        ("zeros.csv", b"\0" * 4096),
        ("wide.csv", b"," * 5000 + b"\n"),
        ("quotes.csv", b'Job,Name\n"NB-1,x\n' * 3),
        ("long.csv", b"Job\n" + b"x" * 200_000),
        ("empty.csv", b""),
    ],
)
def test_what_is_no_sheet_is_refused_in_a_sentence(demo: Pages, name: str, content: bytes) -> None:
    page = tried(demo.as_("planner"), (name, content))
    assert page.status in (200, 422), page.text
    if page.status == 422:
        assert "That did not work" in page.text
        assert name.partition(".")[0] in page.text
    else:
        assert "Take them in" not in page.text


def test_a_name_is_only_shown_and_never_a_place(demo: Pages) -> None:
    pat = demo.as_("planner")
    page = tried(pat, ("../../../etc/<b>jobs</b>{{7*7}}.csv", JOBS))
    assert "<b>jobs" not in page.body
    assert "b>{{7*7}}.csv" in page.text
    assert "etc" not in page.text.partition("What would become")[2][:80]
    page = tried(pat, ("x" * 300 + ".csv", JOBS))
    assert "x" * 101 not in page.body


@pytest.mark.parametrize(
    ("claimed", "shown"),
    [
        ("C:\\sheets\\jobs.csv", "jobs.csv"),
        ("../../jobs.csv", "jobs.csv"),
        ("/", "file without a name"),
        ("jo\x00bs\u202e.csv", "jobs.csv"),
        ("x" * 200 + ".xlsx", "x" * 90 + ".xlsx"),
    ],
)
def test_what_is_left_of_a_claimed_name(claimed: str, shown: str) -> None:
    assert plain_name(claimed) == shown


def test_two_files_of_one_name_and_no_file_are_refused(demo: Pages) -> None:
    pat = demo.as_("planner")
    assert "Two of the files have the same name." in tried(pat, ("a.csv", JOBS), ("a.csv", JOBS + "\n")).text
    pat.get("/sheets")
    assert "Choose the files first" in pat.upload("/sheets", {}).text


def test_more_than_forty_megabytes_are_not_read(demo: Pages) -> None:
    pat = demo.as_("planner")
    page = tried(pat, ("jobs.csv", b"Job\n" + b"x,\n" * 14_000_000))
    assert page.status == 403
    assert "longer than 40 MB" in page.text
