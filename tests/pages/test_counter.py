"""Handing out in the browser: what was scanned, the verdict, the kit, and undoing it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from urllib.parse import parse_qs, urlsplit

import pytest
from sqlalchemy import func, select, update

from fleet import records
from fleet.records.base import rows_of
from tests.pages.chromium import on_sqlite
from tests.pages.filling import (
    HOSE,
    KIT,
    OLD_HOSE,
    OUT,
    PUMP,
    WRENCH,
    hand_out,
    how_many,
    send,
    verdict,
)
from tests.pages.test_routes import everything

if TYPE_CHECKING:
    from tests.pages.browsing import Pages


# --- The verdict --------------------------------------------------------------------------------------------


def test_what_may_go_out_is_said_with_what_is_still_missing(demo: Pages) -> None:
    page = demo.as_("keeper").get(f"/counter?item={WRENCH}")
    assert verdict(page) == "MAY GO OUT"
    assert 'data-call="go"' in page.body
    assert "20113-6 wrench WSQ-76" in page.text
    assert "Still missing: the badge of whoever takes it." in page.text
    # The job of its reservation and the last day of that job are proposed.
    assert '<option value="NB-142" selected>' in page.body
    assert 'name="back" type="text" value="22 May 2026"' in page.body
    assert "<title>May go out: Counter, tool room</title>" in page.body


def test_what_stays_in_says_why_and_what_to_do(demo: Pages) -> None:
    page = demo.as_("keeper").get(f"/counter?to=N44&item={OLD_HOSE}&item={WRENCH}")
    assert verdict(page) == "STAYS IN"
    assert 'data-call="stay"' in page.body
    assert "Replacement was due 6 Mar 2026." in page.text
    assert f'href="/items/{OLD_HOSE}/retire"' in page.body
    assert "1 of 2 stays in: nothing is handed out until it is left out or seen to." in page.text
    assert f'href="/counter?to=N44&amp;item={WRENCH}">Leave 20164-2 out' in page.body
    assert "<button>Hand out" not in page.body
    assert 'class="main"' not in page.body


@on_sqlite
def test_what_is_out_stays_in_and_the_way_to_take_it_back_is_shown(demo: Pages) -> None:
    page = demo.as_("keeper").get(f"/counter?item={OUT}")
    assert verdict(page) == "STAYS IN"
    assert f'<a href="/back?item={OUT}">Take it back first</a>' in page.body


def test_with_another_job_it_is_judged_for_that(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = hand_out(kim, f"/counter?to=N44&item={WRENCH}", look="yes", job="NB-140")
    # The day to be back was proposed for the first job, and is proposed anew.
    assert page.headers["location"] == f"/counter?to=N44&job=NB-140&item={WRENCH}"
    page = kim.follow(page)
    assert verdict(page) == "STAYS IN"
    assert "Reserved for NB-142 from 17 May 2026 to 22 May 2026." in page.text


@on_sqlite
def test_a_day_that_somebody_wrote_stays(demo: Pages) -> None:
    page = hand_out(demo.as_("keeper"), KIT, look="yes", job="NB-140", back="18 May 2026")
    assert parse_qs(urlsplit(page.headers["location"]).query)["back"] == ["18 May 2026"]


def test_a_reserved_kit_is_put_on_the_counter_by_one_link(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.get("/counter")
    found = re.search(r'href="(/counter\?job=NB-142[^"]*)">Put what is reserved for NB-142', page.body)
    assert found
    page = kim.get(found[1].replace("&amp;", "&"))
    on_it = re.search(r"On the counter \((\d+)\)", page.text)
    assert on_it
    with demo.room.look() as db:
        reserved = select(func.count(func.distinct(records.ReservationRow.item_id))).where(
            records.ReservationRow.ended_at.is_(None),
            records.ReservationRow.job_id
            == select(records.JobRow.id).where(records.JobRow.code == "NB-142").scalar_subquery(),
        )
        assert int(on_it[1]) == db.execute(reserved).scalar_one()


@on_sqlite
def test_what_cannot_be_read_is_said_and_the_rest_is_shown(demo: Pages) -> None:
    page = demo.as_("keeper").get(f"/counter?to=<b>&job=none&back=someday&item=1&item={WRENCH}")
    assert page.status == 200
    for said in ("&lt;b&gt;", "no job", "someday", "&#34;1&#34; is not a tag"):
        assert said in page.body
    assert "<b>" not in page.body
    assert "20113-6 wrench" in page.text
    assert "<title>Error: " in page.body


@on_sqlite
def test_a_day_that_is_over_is_no_day_to_be_back(demo: Pages) -> None:
    page = demo.as_("keeper").get(f"/counter?to=N44&back=2026-05-12&item={WRENCH}")
    assert "The day to be back, 12 May 2026, has already passed." in page.text


# --- Handing out --------------------------------------------------------------------------------------------


def test_the_whole_kit_goes_out_in_one_go(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.follow(hand_out(kim, KIT))
    assert verdict(page) == "HANDED OUT"
    assert "3 items to Lorna Beckhold for NB-142" in page.text
    for tag in ("20113-6", "20138-8", "20168-3"):
        assert tag in page.text
    page = kim.get(f"/scan?code={HOSE}")
    assert page.headers["location"] == f"/back?item={HOSE}"


def test_the_same_form_sent_twice_hands_out_once(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.get(KIT)
    first = send(kim, page, "/counter/issue")
    loans = how_many(demo, records.LoanRow)
    second = send(kim, page, "/counter/issue")
    assert first.status == second.status == 303
    assert first.headers["location"] == second.headers["location"]
    assert how_many(demo, records.LoanRow) == loans


def test_nothing_goes_out_while_one_must_stay_in(demo: Pages) -> None:
    kim = demo.as_("keeper")
    before = everything(demo.room)
    address = f"{KIT}&item={OLD_HOSE}"
    page = kim.get(address)
    page = send(kim, page, "/counter/issue")
    assert page.status == 409
    assert "Nothing was issued. 20164-2 stays in:" in page.text
    assert verdict(page) == "STAYS IN"
    assert "Leave 20164-2 out" in page.text
    after = everything(demo.room)
    assert all(after[name] == rows for name, rows in before.items() if name != "session")


@on_sqlite
@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"to": ""}, "scan the badge of whoever takes it"),
        ({"to": "N99"}, "N99"),
        ({"job": "NB-999"}, "There is no job"),
        ({"back": "2026-05-01"}, "has already passed"),
        ({"item": ()}, "Nothing lies on the counter yet."),
        ({"item": (WRENCH, "777")}, "is not a tag"),
        ({"to": "N13"}, "no longer active"),
    ],
)
def test_what_is_missing_or_wrong_is_said_with_the_form_filled_in(
    demo: Pages, changed: dict[str, str | tuple[str, ...]], sentence: str
) -> None:
    kim, loans = demo.as_("keeper"), how_many(demo, records.LoanRow)
    page = hand_out(kim, KIT, **changed)
    assert page.status in (404, 409)
    assert sentence in page.text
    assert 'id="error"' in page.body
    assert how_many(demo, records.LoanRow) == loans


def test_only_what_was_seen_is_handed_out(demo: Pages) -> None:
    """A warning that came up since the page was drawn has to be seen first."""
    kim = demo.as_("keeper")
    page = kim.get(f"/counter?to=N44&item={WRENCH}")
    due = rows_of(records.DueLineRow)
    with demo.room.act() as db:
        item = db.execute(select(records.ItemRow.id).where(records.ItemRow.tag == WRENCH)).scalar_one()
        soon = update(due).where(due.c.item_id == item).values(forecast_on=demo.clock.now.date(), due_on=None)
        db.execute(soon.values(use_left=0.5))
    page = send(kim, page, "/counter/issue")
    assert page.status == 409
    assert "it stands otherwise now than it was shown" in page.text
    assert "likely to fall due by use" in page.text
    assert send(kim, page, "/counter/issue").status == 303


@pytest.mark.parametrize("who", ["planner", "officer"])
def test_only_a_keeper_hands_out(demo: Pages, who: str) -> None:
    page = hand_out(demo.as_(who), KIT)
    assert page.status == 403
    assert "is not a keeper at North Basin" in page.text


# --- Undo ---------------------------------------------------------------------------------------------------


def test_an_issue_is_undone_by_one_button_for_ten_minutes(demo: Pages) -> None:
    kim = demo.as_("keeper")
    done = hand_out(kim, KIT)
    page = kim.follow(done)
    receipt = done.headers["location"]
    assert "Until 13 May 2026 12:10" in page.text
    assert "Undo" not in demo.as_("planner").get(receipt).text
    demo.clock.pass_by(minutes=9)
    page = kim.get(receipt)
    undone = send(kim, page, f"{receipt}/undo")
    assert undone.headers["location"] == receipt
    assert verdict(kim.follow(undone)) == "UNDONE"
    assert kim.get(f"/scan?code={WRENCH}").headers["location"].startswith("/counter")


def test_after_ten_minutes_it_is_taken_back_instead(demo: Pages) -> None:
    kim = demo.as_("keeper")
    done = hand_out(kim, KIT)
    page = kim.follow(done)
    demo.clock.pass_by(minutes=11)
    late = send(kim, page, f"{done.headers['location']}/undo")
    assert late.status == 409
    assert "more than 10 minutes ago" in late.text
    page = kim.get(done.headers["location"])
    assert ">Undo<" not in page.body
    assert f"/back?item={WRENCH}&amp;item={PUMP}&amp;item={HOSE}" in page.body
