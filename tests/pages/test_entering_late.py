"""Getting in when a clock, a telephone, a password or a moment was lost."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pyotp
import pytest

from fleet.desk.logins import forget_second_factor
from fleet.rules.people import SETTING_UP
from tests.commands.typed import here
from tests.pages.conftest import first_link

if TYPE_CHECKING:
    from tests.pages.browsing import Browser, Pages


@pytest.fixture
def kim(pages: Pages) -> Browser:
    """The keeper, who is the administrator, logged in."""
    return pages.accept(first_link(pages, "K1"), "K1")


def test_codes_go_by_the_machines_clock_and_not_by_a_day_book_that_is_ahead(pages: Pages) -> None:
    """Somebody's clock was ahead once; telephones never are."""
    kim = pages.accept(first_link(pages, "K1"), "K1")
    kim.get("/own")
    pages.clock.pass_by(minutes=50)
    kim.get("/own")
    assert kim.post("/own/units", pressure="bar").status == 303
    with pages.room.act() as db:
        forget_second_factor(db, "K1", "Seen in person, with a badge", by=SETTING_UP, now=pages.room.now(db))
    pages.clock.pass_by(minutes=-40)
    with pages.room.look() as db:
        assert pages.room.now(db) > pages.clock.now
    browser = pages.browser()
    assert browser.log_in("K1").headers["location"] == "/"
    assert browser.get("/").headers["location"] == "/own/second-factor"
    secret = pyotp.random_base32()
    browser.get("/own/second-factor")
    code = pyotp.TOTP(secret).at(pages.clock.now)
    assert browser.post("/own/second-factor", secret=secret, code=code).status == 303
    pages.clock.pass_by(seconds=30)
    later = pyotp.TOTP(secret).at(pages.clock.now)
    assert pages.browser().log_in("K1", code=later).status == 303


def test_whoever_runs_the_machine_helps_who_lost_telephone_or_password(pages: Pages) -> None:
    kim, database = pages.accept(first_link(pages, "K1"), "K1"), pages.room.settings.database
    answer = here("access", "forget-factor", "K1", "--reason", "no", "--database", database)
    assert (answer.code, "in a sentence" in answer.err) == (3, True), answer
    words = ("--reason", "Seen in person, with a badge", "--database", database)
    assert here("access", "forget-factor", "P1", *words).code == 3
    assert here("access", "forget-factor", "K1", *words).code == 0
    assert kim.get("/own").headers["location"].startswith("/in")
    made = here("access", "link", "K1", "--at", "https://tool-room.example", "--database", database)
    assert (made.code, "https://tool-room.example/invited/" in made.out) == (0, True), made
    assert here("access", "link", "X9", "--database", database).code == 3


def test_a_form_that_came_too_late_leads_back_to_the_page_it_stood_on(pages: Pages, kim: Browser) -> None:
    kim.get("/own")
    pages.clock.pass_by(minutes=6)
    host = f"127.0.0.1:{pages.port}"
    for stood, back in (
        (f"http://{host}/own?x=1", "%2Fown%3Fx%3D1"),
        ("https://evil.example/own", "%2F"),
        ("", "%2F"),
    ):
        kim.get("/own")
        kim.headers = {"Referer": stood} if stood else {}
        where = kim.post("/own/pin", pin="274913").headers["location"]
        assert where.replace("/", "%2F") == f"%2Fagain?next={back}"
