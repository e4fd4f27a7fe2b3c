"""The kit sheet as a page: the same as on paper, for whoever has a role at the job's site."""

from __future__ import annotations

import re
from html import unescape
from typing import TYPE_CHECKING
from urllib.parse import quote

import pytest

from fleet import records
from tests.lists.rack import INCH, build
from tests.pages.browsing import Browser, Pages, serving
from tests.pages.conftest import first_link
from tests.papers.test_kit_sheets import Bench, text_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.room import Room
    from tests.shop import Clock, Shop

MARK = "F 2/b"


@pytest.fixture
def bench(room: Room, shop: Shop) -> Bench:
    rack = build(room, shop)
    joint = rack.shop.put(
        records.JointRow,
        job_id=1,
        mark=MARK,
        bolts=24,
        torque_written="1,000 N·m",
        torque_nm=1000.0,
        across_flats_mm=2.375 * INCH,
        loosening_factor=1.5,
        loosening_reason="Painted over",
    )
    return Bench(rack, joint)


@pytest.fixture
def pages(bench: Bench, clock: Clock) -> Iterator[Pages]:
    with serving(bench.rack.room, clock) as found:
        yield found


@pytest.fixture
def pat(pages: Pages) -> Browser:
    return pages.accept(first_link(pages, "P1"), "P1")


def address(mark: str = MARK, sort: str = "") -> str:
    return f"/kit-sheet{sort}?job=J-1&joint={quote(mark, safe='')}"


def test_the_page_says_what_the_paper_says(bench: Bench, pat: Browser) -> None:
    bench.keep(*bench.rack.kit.values(), joint=bench.joint)
    page = pat.get(address())
    assert page.status == 200, page.text
    for thing in bench.rack.kit.values():
        assert f"{thing.tag[:-1]}-{thing.tag[-1]}" in page.text
    for words in ("Set pressure", "Loosening may ask", "Passes", "Connections, from the pump", "Cautions"):
        assert words in page.text
    assert "DO NOT USE" not in page.text
    way = re.search(r'href="(/kit-sheet.pdf[^"]*)"', page.body)
    assert way
    paper = pat.ask_raw(unescape(way[1]))
    assert paper.startswith(b"%PDF")
    assert MARK in text_of(paper)


def test_a_kit_that_may_not_be_used_shows_no_setting(bench: Bench, pat: Browser) -> None:
    kit = [thing for kind, thing in bench.rack.kit.items() if kind != "gauge"]
    bench.keep(*kit, joint=bench.joint)
    page = pat.get(address())
    assert "DO NOT USE" in page.text
    assert "Set on the gauge" not in page.text
    assert "kit-sheet.pdf" not in page.body


def test_a_joint_without_a_kit_and_one_that_is_not_planned_are_said_so(pat: Browser) -> None:
    assert "Nothing is reserved for F 2/b of J-1." in pat.get(address()).text
    assert pat.get(address("X-9")).status == 404
    assert pat.get("/job?job=J-99").status == 404


def test_the_page_of_a_job_leads_to_the_sheets(bench: Bench, pat: Browser) -> None:
    bench.keep(*bench.rack.kit.values(), joint=bench.joint)
    way = re.search(r'href="(/kit-sheet\?[^"]*)"', pat.get("/job?job=j-1").body)
    assert way
    page = pat.get(unescape(way[1]))
    assert page.status == 200
    assert MARK in page.text


def test_of_the_jobs_of_other_sites_nothing_is_told(bench: Bench, shop: Shop, pat: Browser) -> None:
    shop.job(shop.site("SOUTH"), "S-1")
    page = pat.get("/job?job=S-1")
    assert page.status == 404
    assert "There is no job" in page.text
    assert bench.joint
