"""Kits as pages: found for a joint with why others fail, checked part by part, reserved once."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING

import pytest

from fleet.lists.reservations import reservations
from tests.shop import NOON

if TYPE_CHECKING:
    from tests.pages.browsing import Browser, Page, Pages

FIND = "/kits?job=NB-146&joint=V-81%20bonnet"
CHECK = "/kits/check?job=NB-142&joint=E-204%20channel"


def kept(demo: Pages, job: str) -> set[str]:
    with demo.room.look() as db:
        return {line.tag for line in reservations(db, since=NOON, site="NORTH", job=job)}


def offer(page: Page, number: int = 1) -> dict[str, str | tuple[str, ...]]:
    """The form that reserves one of the ways found."""
    forms = re.findall(r'action="/kits/reserve".*?</form>', page.body, re.DOTALL)
    fields = re.findall(r'name="(\w+)" value="([^"]*)"', forms[number - 1])
    given: dict[str, str | tuple[str, ...]] = {name: value for name, value in fields if name != "item"}
    return given | {"item": tuple(value for name, value in fields if name == "item")}


def reserve(browser: Browser, given: dict[str, str | tuple[str, ...]]) -> Page:
    page = browser.ask("POST", "/kits/reserve", given)
    return browser.follow(page) if page.status == 303 else page


def test_a_kit_is_found_and_reserved_once(demo: Pages) -> None:
    pat = demo.as_("planner")
    page = pat.get(FIND)
    assert "the smallest wrench first" in page.text
    assert "The kit can give" in page.text
    assert re.search(r"It needs [\d,]+ lbf·ft \([\d,]+ N·m\) and 10 % to spare", page.text)
    given = offer(page)
    before = kept(demo, "NB-146")
    done = reserve(pat, given)
    assert "reserved for V-81 bonnet of NB-146, 15 Jun 2026 to 30 Jun 2026." in done.text
    assert kept(demo, "NB-146") == before | set(given["item"])
    assert "They had been before." in reserve(pat, given).text


def test_what_was_taken_meanwhile_is_said_with_what_is_left(demo: Pages) -> None:
    pat, kim = demo.as_("planner"), demo.as_("keeper")
    given = offer(pat.get(FIND))
    theirs = kim.get(FIND)
    reserve(kim, offer(theirs))
    page = reserve(pat, given)
    assert page.status == 409
    assert "Nothing was reserved." in page.text
    assert "reserved it for NB-146" in page.text
    assert "All of number 1 is reserved for NB-146 already." in page.text


def test_where_none_does_it_is_said_why_and_what_to_hire(demo: Pages) -> None:
    page = demo.as_("planner").get("/kits?job=NB-146&joint=V-40%20outlet,%20class%201500")
    assert "No kit does" in page.text
    assert "Why none does" in page.text
    assert "Hire " in page.text


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("&margin=much", "Write the margin as a number"),
        ("&margin=100", "margin"),
        ("&start=soon", '"soon" is not a day'),
        ("&start=20%20jun&end=19%20jun%202026", "ends before it starts"),
        ("&joint=Z-9", "has no joint"),
        ("&start=1%20jan%202026&end=2%20jan%202026", "already passed"),
    ],
)
def test_a_question_that_makes_no_sense_is_said_above_the_form(demo: Pages, asked: str, said: str) -> None:
    mark = "" if "joint" in asked else "&joint=V-81%20bonnet"
    page = demo.as_("planner").get(f"/kits?job=NB-146{mark}{asked}")
    assert page.status in (409, 422)
    assert said in page.text
    assert "Find kits" in page.text


def test_another_time_may_be_asked_for_without_a_year(demo: Pages) -> None:
    page = demo.as_("planner").get(f"{FIND}&start=20%20jun&end=21%20jun")
    assert "from 20 Jun 2026 to 21 Jun 2026" in page.text


def test_named_items_are_checked_as_a_kit(demo: Pages) -> None:
    pat = demo.as_("planner")
    page = pat.get(f"{CHECK}&item=20113-6&item=20138-8&item=20168-3&item=20203-2&item=20238-7")
    assert "MAY BE USED" in page.text
    assert "All of it is reserved for NB-142 already." in page.text
    page = pat.get(f"{CHECK}&item=20113-6%0A20138-8")
    assert "MAY NOT BE USED" in page.text
    assert "Reserve " not in page.text.partition("Connections")[2]


@pytest.mark.parametrize(
    ("items", "said"),
    [
        ("&item=nothing", "There is no item"),
        ("&item=20113-6&item=20113-6", "named twice"),
        ("&item=" + "+".join(["20113-6"] * 40), "at most 30 items"),
        ("&item=<b>x</b>", "There is no item"),
    ],
)
def test_items_that_cannot_be_checked_are_said(demo: Pages, items: str, said: str) -> None:
    page = demo.as_("planner").get(CHECK + items.replace("<", "%3C").replace(">", "%3E"))
    assert page.status in (409, 422)
    assert said in page.text
    assert "<b>x" not in page.body


def test_items_of_other_sites_are_not_there(demo: Pages) -> None:
    other = next(line["Tag"] for line in _items(demo.as_("elsewhere")))
    page = demo.as_("planner").get(f"{CHECK}&item={other}")
    assert page.status == 422
    assert "at a site of yours" in page.text


def _items(browser: Browser) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(browser.ask_raw("/sheets/items.csv").decode())))


def test_who_does_not_plan_reserves_nothing(demo: Pages) -> None:
    sam = demo.as_("officer")
    given = offer(sam.get(FIND))
    page = reserve(sam, given)
    assert page.status == 403
    assert "is not a planner or keeper" in page.text
    assert "the smallest wrench first" in page.text
