"""Recalls as pages: looked over before anything is written, opened in one's name, ended."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode

from sqlalchemy import func, select

from fleet.records import HoldRow, RecallRow

if TYPE_CHECKING:
    from tests.pages.browsing import Pages

NOTICE = {"model": "GAU-1000", "notice": "Maker's notice 17 of 2 May", "reason": "The crimp may open <b>"}


def held(pages: Pages) -> int:
    with pages.room.look() as db:
        asked = select(func.count()).where(HoldRow.recall_id.is_not(None), HoldRow.released_at.is_(None))
        return int(db.execute(asked).scalar_one())


def test_it_is_looked_over_opened_and_ended(demo: Pages) -> None:
    officer = demo.as_("officer")
    assert "None is open." in officer.get("/recalls").text
    looked = officer.get(f"/recalls/new?{urlencode(NOTICE)}")
    assert "It would be about GAU-1000" in looked.text
    assert "would be on hold" in looked.text
    assert "<b>" not in looked.body
    assert "more at sites where you have no role" in looked.text
    assert held(demo) == 0
    opened = officer.follow(officer.post("/recalls", **NOTICE))
    assert "on hold for it now." in opened.text
    assert held(demo) > 1
    twice = officer.post("/recalls", **NOTICE)
    assert (twice.status, "about the same is open already" in twice.text) == (409, True)
    short = officer.post("/recalls/1/end", reason="gone")
    assert (short.status, ">gone</textarea>" in short.body) == (409, True)
    ended = officer.follow(officer.post("/recalls/1/end", reason="The notice was lifted on 13 May"))
    assert "Recall 1 has ended" in ended.text
    assert held(demo) == 0
    assert "Ended (1)" in officer.get("/recalls").text


def test_only_what_is_here_is_named(demo: Pages) -> None:
    officer = demo.as_("officer")
    officer.get("/recalls/new")
    officer.follow(officer.post("/recalls", **NOTICE))
    here, there = officer.get("/recalls/1"), demo.as_("elsewhere").get("/recalls/1")
    mine = {part.split('"')[0] for part in here.body.split('href="/items/')[1:]}
    theirs = {part.split('"')[0] for part in there.body.split('href="/items/')[1:]}
    assert mine
    assert theirs
    assert not mine & theirs


def test_only_a_safety_officer_opens_one(demo: Pages) -> None:
    for who in ("keeper", "planner"):
        browser = demo.as_(who)
        assert browser.get(f"/recalls/new?{urlencode(NOTICE)}").status == 200
        page = browser.post("/recalls", **NOTICE)
        assert (page.status, "is not a safety officer" in page.text) == (403, True)
    with demo.room.look() as db:
        assert db.execute(select(RecallRow.id)).first() is None


def test_a_range_that_cannot_be_read_is_said_with_the_form(demo: Pages) -> None:
    page = demo.as_("officer").get("/recalls/new?model=GAU-1000&serials=x..y&notice=Maker+17")
    assert page.status == 409
    assert 'value="x..y"' in page.body
    assert 'value="Maker 17"' in page.body
