"""The weeks as a page: a picture drawn by the server, the same as a table, sorted and moved by links."""

from __future__ import annotations

import re
from html import unescape
from typing import TYPE_CHECKING

import pytest
from defusedxml.ElementTree import fromstring

if TYPE_CHECKING:
    from tests.pages.browsing import Page, Pages


def picture(page: Page) -> str:
    found = re.search(r"<svg.*?</svg>", page.body, re.DOTALL)
    assert found
    return found[0]


def first_column(page: Page) -> list[str]:
    table = page.body.partition('id="listed"')[2]
    return re.findall(r'<th scope="row"><a href="/items/\d+">(\S+)</a>', table)


def days(page: Page, column: str) -> list[str]:
    return re.findall(rf'data-of="{column}">([^<]*)</td>', page.body.partition('id="listed"')[2])


def way(page: Page, words: str) -> str:
    found = re.search(rf'href="([^"]+)">{words}<', page.body)
    assert found, words
    return unescape(found[1]).partition("#")[0]


def test_picture_and_table_say_the_same(demo: Pages) -> None:
    page = demo.as_("planner").get("/weeks")
    assert "11 May 2026 to 5 Jul 2026, 8 weeks." in page.text
    drawn = picture(page)
    fromstring(drawn)
    assert "style=" not in drawn
    assert "<script" not in drawn
    for words in ("reserved for NB-142", "out for NB-140"):
        assert words in drawn
        assert words in page.text
    assert "Joints short of a wrench" in page.text


def test_the_table_is_sorted_by_links_and_the_other_way_round_by_the_same(demo: Pages) -> None:
    pat = demo.as_("planner")
    page = pat.get("/weeks?kind=wrench")
    assert 'aria-sort="ascending"' in page.body
    page = pat.get(way(page, "From"))
    ordered = days(page, "From")
    assert ordered == sorted(ordered, key=_as_day)
    page = pat.get(way(page, "From"))
    assert 'aria-sort="descending"' in page.body
    turned = days(page, "From")
    assert turned == sorted(turned, key=_as_day, reverse=True)


def _as_day(said: str) -> tuple[int, int, int]:
    day, month, year = said.split()
    months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
    return int(year), months.index(month), int(day)


def test_the_weeks_are_moved_by_links(demo: Pages) -> None:
    pat = demo.as_("planner")
    page = pat.get("/weeks?weeks=4&kind=pump")
    later = pat.get(way(page, "Later"))
    assert "8 Jun 2026 to 5 Jul 2026, 4 weeks." in later.text
    assert 'value="pump" selected' in later.body
    assert "11 May 2026 to 7 Jun 2026" in pat.get(way(later, "Earlier")).text
    assert "11 May 2026 to 7 Jun 2026" in pat.get(way(later, "From today")).text


def test_only_one_kind_is_shown_when_asked(demo: Pages) -> None:
    page = demo.as_("planner").get("/weeks?kind=pump&items=all")
    assert set(re.findall(r'class="hint">(\w+) P\w\w-', page.body)) == {"pump"}
    assert "Wrench " not in picture(page)


def test_far_weeks_without_anything_say_so(demo: Pages) -> None:
    page = demo.as_("planner").get("/weeks?from=2031-01-01&kind=socket")
    assert "As a table" in page.text
    assert page.status == 200


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("from=sometime", "is not a day"),
        ("weeks=99", "cannot be shown"),
        ("from=1/2/26", "more than one way"),
    ],
)
def test_what_cannot_be_shown_is_said(demo: Pages, asked: str, said: str) -> None:
    page = demo.as_("planner").get(f"/weeks?{asked}")
    assert page.status == 422
    assert said in page.text
    assert "As a table" in page.text


@pytest.mark.parametrize(
    "asked", ["kind=<b>", "sort=<b>", "down=<b>", "items=<b>", "page=<b>", "part=-1", "weeks=x"]
)
def test_what_is_not_known_counts_for_nothing(demo: Pages, asked: str) -> None:
    page = demo.as_("planner").get(f"/weeks?{asked}".replace("<", "%3C").replace(">", "%3E"))
    assert page.status == 200
    assert "<b>" not in page.body


def test_items_of_other_sites_are_not_drawn(demo: Pages) -> None:
    here, there = (demo.as_(who).get("/weeks?items=all") for who in ("planner", "elsewhere"))
    assert not set(first_column(here)) & set(first_column(there))
    assert demo.as_("planner").get("/weeks?site=EAST").status == 404
