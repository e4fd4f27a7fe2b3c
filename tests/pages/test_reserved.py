"""Reservations as pages: conflicts named first, kept once, swapped, extended, split, set free."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import pytest

from fleet.lists.reservations import reservations
from tests.shop import NOON

if TYPE_CHECKING:
    from fleet.lists.reservations import ReservationLine
    from tests.pages.browsing import Browser, Page, Pages

WRENCH, PUMP = "20113-6", "20138-8"  # Kept for E-204 channel of NB-142, 17 to 22 May.


def kept(demo: Pages, job: str = "NB-142") -> dict[str, ReservationLine]:
    with demo.room.look() as db:
        return {line.tag: line for line in reservations(db, since=NOON, site="NORTH", job=job)}


def number(demo: Pages, tag: str = PUMP) -> str:
    return str(kept(demo)[tag.replace("-", "")].number)


def change(browser: Browser, way: str, client: str = "a", **given: str) -> Page:
    browser.get(f"/reserved/change?number={given['number']}")
    page = browser.post(f"/reserved/{way}", id=client * 32, **given)
    return browser.follow(page) if page.status == 303 else page


def look(browser: Browser, **asked: str) -> Page:
    return browser.get(f"/reserved/new?{urlencode({'look': 'yes'} | asked)}")


def test_the_list_is_narrowed_and_sorted_in_its_address(demo: Pages) -> None:
    pat = demo.as_("planner")
    page = pat.get("/reserved?job=NB-142&kind=wrench")
    assert "2 reservations." in page.text
    assert WRENCH in page.text
    assert PUMP not in page.text
    page = pat.get("/reserved?sort=item")
    kinds = re.findall(r'class="hint">(\w+) ', page.body.partition("<tbody>")[2])
    named = [kind for kind in kinds if kind in ("coupler", "gauge", "hose", "pump", "socket", "wrench")]
    assert named == sorted(named)
    assert "NB-142" in pat.get("/reserved?item=20113-6").text
    assert "Nothing is reserved that fits these choices." in pat.get("/reserved?item=20190-9").text


def test_a_conflict_is_named_before_saving_with_an_equal_item_that_is_free(demo: Pages) -> None:
    pat = demo.as_("planner")
    page = look(pat, job="NB-143", items=PUMP, start="20 may", end="22 may")
    assert "cannot be reserved" in page.text
    assert "reserved it for NB-142 from 17 May 2026 to 22 May 2026." in page.text
    way = re.search(r'href="(/reserved/new\?[^"]+)">Take (\S+) instead of 20138-8', page.body)
    assert way
    assert "Nothing can be reserved like this." in page.text
    page = pat.get(way[1].replace("&amp;", "&"))
    assert "can be reserved" in page.text
    form = re.search(r'<form method="post" action="/reserved/new".*?</form>', page.body, re.DOTALL)
    assert form
    given = dict(re.findall(r'name="(\w+)" value="([^"]*)"', form[0]))
    page = pat.follow(pat.ask("POST", "/reserved/new", given))
    assert "1 item is reserved for NB-143, 20 May 2026 to 22 May 2026." in page.text
    assert way[2].replace("-", "") in kept(demo, "NB-143")
    again = pat.follow(pat.ask("POST", "/reserved/new", given))
    assert "That had been done before." in again.text


def test_any_of_a_class_is_shown_first_and_then_kept(demo: Pages) -> None:
    pat = demo.as_("planner")
    asked = {"job": "NB-144", "kind": "pump", "count": "2", "start": "26 may", "end": "29 may"}
    page = look(pat, **asked)
    chosen = re.search(r"the room would choose (\S+), (\S+)\.", page.text)
    assert chosen
    page = pat.follow(pat.post("/reserved/new", id="a" * 32, **asked))
    assert "2 items are reserved for NB-144" in page.text
    assert {one.replace("-", "") for one in chosen.groups()} <= set(kept(demo, "NB-144"))


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"items": ""}, "Name the items by their tags"),
        ({"items": "20113-6 20113-6"}, "named twice"),
        ({"items": "nothing"}, "There is no item"),
        ({"start": "22 may", "end": "21 may 2026"}, "ends before it starts"),
        ({"start": "1 jan 2026", "end": "2 jan 2026"}, "already passed"),
        ({"end": "31/5/26"}, "is not how days are written here"),
        ({"expires": "30 jul"}, "must say a time ahead, before its window ends"),
        ({"items": "", "model": "PEL-11"}, "Choose the kind of which any will do."),
        ({"items": "", "kind": "pump", "model": "none"}, "There is no pump model"),
        ({"items": "", "kind": "pump", "drive": "1 in"}, "neither a square drive"),
        ({"items": "", "kind": "pump", "count": "0"}, "Say how many"),
        ({"items": "", "kind": "pump", "count": "99"}, "Say how many"),
        ({"joint": "Z-9"}, "has no joint"),
    ],
)
def test_what_cannot_be_reserved_is_said_when_looking_and_when_saving(
    demo: Pages, asked: dict[str, str], said: str
) -> None:
    pat = demo.as_("planner")
    given = {"job": "NB-143", "items": "20141-5", "start": "21 may", "end": "24 may"} | asked
    for page in (look(pat, **given), pat.post("/reserved/new", **given)):
        assert page.status in (409, 422)
        assert said in page.text
    assert "201415" not in kept(demo, "NB-143")


def test_another_takes_its_place(demo: Pages) -> None:
    pat, which = demo.as_("planner"), number(demo)
    page = change(pat, "swap", number=which, reason="It drips at the couplers")
    assert re.search(
        r"\S+ is reserved for NB-142 in place of 20138-8, 17 May 2026 to 22 May 2026.", page.text
    )
    assert "201388" not in kept(demo)
    before = kept(demo)
    again = pat.post("/reserved/swap", id="a" * 32, number=which, reason="It drips at the couplers")
    assert again.status == 303
    assert kept(demo) == before
    assert "This reservation ended" in pat.get(f"/reserved/change?number={which}").text


def test_a_swap_for_something_that_is_taken_is_refused_with_the_form_as_it_was(demo: Pages) -> None:
    page = change(
        demo.as_("planner"), "swap", number=number(demo), instead="20139-6", reason="It is nearer the gate"
    )
    assert page.status == 409
    assert "reserved it for NB-142" in page.text
    assert 'value="20139-6"' in page.body
    assert "201388" in kept(demo)


def test_it_is_kept_longer_when_it_is_free(demo: Pages) -> None:
    pat = demo.as_("planner")
    page = change(pat, "extend", number=number(demo), until="25 may", reason="The bundle is stuck")
    assert "20138-8 is reserved for NB-142, 17 May 2026 to 25 May 2026." in page.text
    page = change(pat, "extend", "b", number=number(demo), until="20 may", reason="The bundle is stuck")
    assert page.status == 409
    assert "give a later end, or set it free" in page.text


def test_one_window_becomes_two(demo: Pages) -> None:
    pat = demo.as_("planner")
    page = change(
        pat, "split", number=number(demo), at="20 may 07:00", another="yes", reason="Needed in the shop then"
    )
    assert re.search(
        r"is reserved for NB-142 in place of 20138-8, 20 May 2026 07:00 to 22 May 2026", page.text
    )
    assert kept(demo)["201388"].ends_at.isoformat() == "2026-05-20T12:00:00+00:00"


def test_only_the_reservation_of_that_number_is_set_free(demo: Pages) -> None:
    pat, tag = demo.as_("planner"), "20141-5"
    for days in (("17 may", "18 may"), ("21 may", "22 may")):
        look(pat, job="NB-142", items=tag, start=days[0], end=days[1])
        pat.follow(pat.post("/reserved/new", job="NB-142", items=tag, start=days[0], end=days[1]))
    with demo.room.look() as db:
        found = [
            line
            for line in reservations(db, since=NOON, site="NORTH", job="NB-142")
            if line.tag == tag.replace("-", "")
        ]
    assert len(found) == 2
    page = change(pat, "free", number=str(found[0].number), reason="no")
    assert page.status == 409
    assert "why it is set free" in page.text
    page = change(pat, "free", number=str(found[0].number), reason="Another pump came back early")
    assert "20141-5 is no longer reserved for NB-142." in page.text
    assert kept(demo)["201415"].number == found[1].number


def test_who_does_not_plan_changes_nothing(demo: Pages) -> None:
    sam, before = demo.as_("officer"), kept(demo)
    which = number(demo)
    for way in ("swap", "extend", "split", "free"):
        page = change(sam, way, number=which, until="25 may", at="20 may", reason="It drips at the couplers")
        assert page.status == 403, way
    assert kept(demo) == before


def test_of_reservations_elsewhere_nothing_is_told(demo: Pages) -> None:
    which = number(demo)
    east = demo.as_("elsewhere")
    assert east.get(f"/reserved/change?number={which}").status == 404
    east.get("/reserved")
    assert east.post("/reserved/free", number=which, reason="It is not needed there").status == 404
    assert "NB-142" not in east.get("/reserved").text
    assert "201388" in kept(demo)


def test_a_hostile_reason_is_shown_as_it_is(demo: Pages) -> None:
    page = change(
        demo.as_("planner"),
        "extend",
        number=number(demo),
        until="never",
        reason="<b>x</b>{{7*7}}" + "y" * 3000,
    )
    assert page.status == 422
    assert "<b>x" not in page.body
    assert "{{7*7}}" in page.body
