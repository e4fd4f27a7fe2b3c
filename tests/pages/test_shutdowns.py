"""Plans of a period: searched for beside the pages, one at a time for a site, then accepted or dropped."""

from __future__ import annotations

import subprocess
import sys
import time
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import func, select, update

from fleet import records
from fleet.lists.plan_facts import gather
from fleet.lists.plans import find_plan, plans
from fleet.lists.sites import find_site
from fleet.measures.times import start_of_day, zone
from fleet.pages.solving import Order, Searches
from fleet.planning.facts import Limits
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from tests.shop import TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.pages.browsing import Browser, Page, Pages

JUNE = {"site": "NORTH", "first": "1 jun", "last": "2026-06-30", "seconds": "15", "grid": "24"}


def begin(browser: Browser, client: str = "a" * 32, **asked: str) -> Page:
    browser.get("/shutdowns")
    return browser.post("/shutdowns", id=client, **JUNE | asked)


def ended(browser: Browser) -> Page:
    """The page on which the search is shown, once it leads elsewhere or says why it does not."""
    for _ in range(300):
        page = browser.get("/shutdowns/running?site=NORTH")
        if page.status == 303 or "data-running" not in page.body:
            return page
        time.sleep(0.1)
    raise AssertionError("it never ends")


def made(browser: Browser) -> Page:
    page = begin(browser)
    assert page.headers["location"] == "/shutdowns/running?site=NORTH", page.text
    return browser.follow(ended(browser))


def kept(room: Room) -> int:
    with room.look() as db:
        return int(db.execute(select(func.count()).select_from(rows_of(records.ReservationRow))).scalar_one())


def test_a_plan_is_made_shown_and_accepted(demo: Pages) -> None:
    pat = demo.as_("planner")
    before = kept(demo.room)
    page = made(pat)
    assert page.status == 200
    for words in ("Plan 1: 1 Jun 2026 to 30 Jun 2026", "Nothing of it is reserved yet.", "Served", "NB-146"):
        assert words in page.text
    assert "proven: there is no better" in page.text
    assert "Kept as reserved" in page.text
    assert kept(demo.room) == before
    page = pat.follow(pat.post("/shutdowns/1/accept", id="b" * 32))
    assert "Plan 1 is accepted: " in page.text
    assert "accepted by Ines Tollivar" in page.text
    assert kept(demo.room) > before
    again = pat.follow(pat.post("/shutdowns/1/accept", id="b" * 32))
    assert "Plan 1 was accepted already." in again.text


def test_a_plan_is_dropped_for_a_reason_and_stays_on_record(demo: Pages) -> None:
    pat = demo.as_("planner")
    made(pat)
    page = pat.post("/shutdowns/1/drop", id="c" * 32, reason="no")
    assert page.status == 409
    assert "Write down why the plan is dropped" in page.text
    page = pat.follow(pat.post("/shutdowns/1/drop", id="c" * 32, reason="Two <b>pumps</b> come back late"))
    assert "dropped: Two <b>pumps</b> come back late" in page.text
    assert "<b>pumps</b>" not in page.body
    assert pat.post("/shutdowns/1/accept", id="d" * 32).status == 409
    assert "dropped" in pat.get("/shutdowns").text


def test_the_same_form_sent_twice_makes_one_plan(demo: Pages) -> None:
    pat = demo.as_("planner")
    made(pat)
    page = begin(pat)
    assert page.headers["location"] == "/shutdowns/running?site=NORTH"
    assert ended(pat).headers["location"] == "/shutdowns/1"
    with demo.room.look() as db:
        assert len(plans(db)) == 1


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"first": "30 jun", "last": "1 jun 2026"}, "The period must not end before it starts"),
        ({"last": "2027-12-31"}, "nor 400 days after it"),
        ({"first": "soon"}, '"soon" is not a day'),
        ({"first": "1/6/26"}, "more than one way"),
        ({"first": "1 jan 2027", "last": "2 jan 2027"}, "has no job with joints"),
        ({"first": "2026-01-01", "last": "2026-01-02"}, "lies in the past"),
        ({"seconds": "86400"}, "Choose from the lists"),
        ({"grid": "0"}, "Choose from the lists"),
    ],
)
def test_what_cannot_be_planned_is_said_above_the_form(demo: Pages, asked: dict[str, str], said: str) -> None:
    page = begin(demo.as_("planner"), **asked)
    assert page.status in (409, 422)
    assert said in page.text
    for name in ("first", "last"):
        assert f'name="{name}" type="text" value="{(JUNE | asked)[name]}"' in page.body


def test_who_does_not_plan_begins_and_stops_nothing(demo: Pages) -> None:
    sam = demo.as_("officer")
    assert begin(sam).status == 403
    assert "is not a planner or keeper" in sam.last.text  # type: ignore[union-attr]
    assert sam.post("/shutdowns/stop", site="NORTH").status == 403
    assert demo.as_("elsewhere").get("/shutdowns?site=NORTH").status == 404


def test_of_a_plan_of_other_sites_nothing_is_told(demo: Pages) -> None:
    made(demo.as_("planner"))
    elsewhere = demo.as_("elsewhere")
    assert "There is no plan 1 of a site of yours." in elsewhere.get("/shutdowns/1").text
    assert elsewhere.post("/shutdowns/1/accept").status == 404
    assert "Plan 1" not in elsewhere.get("/shutdowns").text


def test_after_a_new_start_of_the_pages_it_is_said_that_a_search_is_lost(demo: Pages) -> None:
    page = demo.as_("planner").get("/shutdowns/running?site=NORTH")
    assert "No search runs for NORTH." in page.text
    assert "it was lost with them" in page.text


def order(room: Room, client: str, site: str = "NORTH", seconds: float = 600.0) -> Order:
    """A search over everything ahead, finely: long enough to be watched and stopped."""
    first, last = TODAY, TODAY + timedelta(days=80)
    with room.look() as db:
        place = find_site(db, site)
        ground = gather(db, place, first, last, now=room.now(db))
    there = zone(place.time_zone)
    ends = start_of_day(last + timedelta(days=1), there)
    badge = {"NORTH": "N21", "EAST": "E12"}[site]
    limits = Limits(seconds=seconds, start_grid=timedelta(hours=1))
    return Order(client, badge, "Ines Tollivar", ground, start_of_day(first, there), ends, limits)


def test_only_one_search_runs_for_a_site_and_stopping_keeps_the_best_until_then(demo_room: Room) -> None:
    searches = Searches(demo_room)
    first = searches.start(order(demo_room, "one"))
    if first.runs:
        with pytest.raises(NotPossible, match="is being made by Ines Tollivar already"):
            searches.start(order(demo_room, "two"))
    assert searches.start(order(demo_room, "one")) is first
    searches.end()
    assert not first.runs
    assert first.error == ""
    assert first.number == 1
    with demo_room.look() as db:
        assert find_plan(db, 1).line.state == "proposed"


def test_while_it_searches_the_database_is_free(demo_room: Room) -> None:
    searches = Searches(demo_room)
    search = searches.start(order(demo_room, "one"))
    with demo_room.act() as db:
        db.execute(update(rows_of(records.SiteRow)).values(letter_hour=7))
    searches.end()
    assert search.number == 1


def test_somebody_who_left_meanwhile_keeps_no_plan(demo_room: Room) -> None:
    asked = order(demo_room, "one")
    people = rows_of(records.PersonRow)
    with demo_room.act() as db:
        db.execute(update(people).where(people.c.badge == "N21").values(active=False))
    searches = Searches(demo_room)
    search = searches.start(asked)
    searches.end()
    assert "no longer active" in search.error
    with demo_room.look() as db:
        assert plans(db) == []


def test_without_the_solver_the_page_would_say_how_to_get_it() -> None:
    """In a program of its own, because a module once loaded stays."""
    said = (
        "import sys; sys.modules['highspy'] = None\n"
        "from fleet.planning.loading import NOT_INSTALLED, installed\n"
        "print(installed(), NOT_INSTALLED)\n"
    )
    run = subprocess.run([sys.executable, "-c", said], capture_output=True, text=True, check=True)
    assert run.stdout.startswith("False A plan needs the solver HiGHS")
    assert "pip install highspy" in run.stdout
