"""Getting in by password, by a second factor and at a counter; staying in, and getting out."""

from __future__ import annotations

import pytest
from sqlalchemy import select, text

from fleet import records
from fleet.refusals import NotAllowed, NotPossible
from fleet.rules.secrets import digest_of
from tests.letterdesk import LetterDesk, Outbox
from tests.pages.browsing import PASSWORD, Browser, Pages
from tests.pages.conftest import first_link, link_for

WRONG = "wrong one"
TWICE = "This link was used already, or is too old."


@pytest.fixture
def kim(pages: Pages) -> Browser:
    """The keeper, who is the administrator, logged in."""
    return pages.accept(first_link(pages, "K1"), "K1")


def test_nobody_can_log_in_to_a_new_room_and_the_door_says_what_to_do(pages: Pages) -> None:
    page = pages.browser().get("/in")
    assert "Nobody can log in yet." in page.text
    assert "fleet access first BADGE" in page.text


def test_whoever_is_not_logged_in_goes_to_the_door_and_comes_back(pages: Pages, kim: Browser) -> None:
    assert kim.get("/letters").status == 200
    browser = pages.browser()
    page = browser.get("/letters?a=1")
    assert (page.status, page.headers["location"]) == (303, "/in?next=/letters%3Fa%3D1")
    browser.get(page.headers["location"])
    page = browser.post("/in", badge="K1", password=PASSWORD, code=pages.code("K1"), next="/letters?a=1")
    assert (page.status, page.headers["location"]) == (303, "/letters?a=1")
    assert browser.get("/letters").status == 200


def test_a_way_back_never_leads_elsewhere(pages: Pages, kim: Browser) -> None:
    for away in (
        "https://evil.example/",
        "//evil.example",
        "/\\evil.example",
        "javascript:alert(1)",
        "in\nx",
    ):
        kim.get("/letters")
        kim.post("/out")
        kim.get("/in")
        pages.clock.pass_by(seconds=30)
        page = kim.post("/in", badge="K1", password=PASSWORD, code=pages.code("K1"), next=away)
        assert (page.status, page.headers["location"]) == (303, "/"), away


@pytest.mark.usefixtures("kim")
def test_the_answer_is_the_same_whatever_was_wrong(pages: Pages) -> None:
    said = set()
    for badge, password, code in (
        ("K1", WRONG, pages.code("K1")),
        ("K1", PASSWORD, "000000"),
        ("nobody", PASSWORD, ""),
        ("P1", PASSWORD, ""),
    ):
        page = pages.browser().log_in(badge, password, code=code)
        said.add((page.status, page.text))
    assert len(said) == 1
    assert "The badge, the password or the code is wrong." in said.pop()[1]


@pytest.mark.usefixtures("kim")
def test_a_code_is_used_once(pages: Pages) -> None:
    code = pages.code("K1")
    assert pages.browser().log_in("K1", code=code).status == 303
    assert pages.browser().log_in("K1", code=code).status == 403


@pytest.mark.usefixtures("kim")
def test_after_ten_failures_even_the_right_password_waits_and_others_do_not(pages: Pages) -> None:
    pages.accept(link_for(pages, "P1", "K1"), "P1")
    for _ in range(10):
        pages.browser().log_in("K1", WRONG)
    page = pages.browser().log_in("K1", code=pages.code("K1"))
    assert page.status == 403
    assert "Too many tries failed. Wait 5 min" in page.text
    pages.clock.pass_by(minutes=5)
    assert pages.browser().log_in("K1", code=pages.code("K1")).status == 303
    assert pages.browser().log_in("P1").status == 303


@pytest.mark.usefixtures("kim")
def test_an_officer_gets_no_further_than_to_the_second_factor(pages: Pages) -> None:
    browser = pages.browser()
    link = link_for(pages, "S1", "K1")
    browser.get(f"/invited/{link}")
    browser.post(f"/invited/{link}", password=PASSWORD, again=PASSWORD)
    for path in ("/", "/letters", "/own"):
        assert browser.get(path).headers["location"] == "/own/second-factor"


@pytest.mark.usefixtures("kim")
def test_a_planner_needs_none(pages: Pages) -> None:
    browser = pages.accept(link_for(pages, "P1", "K1"), "P1")
    assert browser.get("/").status == 200
    assert "P1" not in pages.secrets


def test_a_link_works_once_and_not_for_long(pages: Pages) -> None:
    link = first_link(pages, "K1")
    pages.accept(link, "K1")
    assert TWICE in pages.browser().get(f"/invited/{link}").text
    late = link_for(pages, "P1", "K1")
    pages.clock.pass_by(hours=24)
    assert TWICE in pages.browser().get(f"/invited/{late}").text
    assert TWICE in pages.browser().get("/invited/made-up").text


def test_a_bad_password_leaves_the_link_usable(pages: Pages) -> None:
    link = first_link(pages, "K1")
    browser = pages.browser()
    browser.get(f"/invited/{link}")
    common = "password1"
    page = browser.post(f"/invited/{link}", password=common, again=common)
    assert "would be guessed soon" in page.text
    page = browser.post(f"/invited/{link}", password=PASSWORD, again=PASSWORD + "x")
    assert "The two passwords differ." in page.text
    assert browser.post(f"/invited/{link}", password=PASSWORD, again=PASSWORD).status == 303


@pytest.mark.usefixtures("kim")
def test_only_the_first_link_needs_no_administrator(pages: Pages) -> None:
    with pytest.raises(NotPossible, match="Somebody can log in already"):
        first_link(pages, "P1")
    with pytest.raises(NotAllowed, match="Pat Planner is not an administrator"):
        link_for(pages, "S1", "P1")


def test_a_session_ends_when_it_is_not_used_and_in_the_end(pages: Pages, kim: Browser) -> None:
    for _ in range(12):
        pages.clock.pass_by(minutes=59)
        assert kim.get("/").status == 200
    pages.clock.pass_by(minutes=59)
    assert kim.get("/").headers["location"].startswith("/in")


def test_an_unused_session_is_over_after_an_hour(pages: Pages, kim: Browser) -> None:
    pages.clock.pass_by(minutes=60)
    assert kim.get("/").headers["location"].startswith("/in")


def test_logging_out_ends_the_session_and_not_only_the_cookie(kim: Browser) -> None:
    kept = dict(kim.cookies)
    kim.get("/")
    kim.post("/out")
    assert "__Host-fleet" not in kim.cookies
    kim.cookies = kept
    assert kim.get("/").headers["location"].startswith("/in")


def test_whoever_leaves_is_out_at_once(staffed: LetterDesk, kim: Browser) -> None:
    with staffed.room.act() as db:
        db.execute(text("UPDATE person SET active = FALSE WHERE badge = 'K1'"))
    assert kim.get("/").headers["location"].startswith("/in")


def test_no_secret_is_kept_as_it_is(pages: Pages, kim: Browser) -> None:
    token = kim.cookies["__Host-fleet"]
    with pages.room.look() as db:
        kept = db.execute(select(records.SessionRow.token_sha256)).scalars().all()
        login = db.execute(select(records.LoginRow.password_hash)).scalar_one()
    assert digest_of(token) in kept
    assert token not in kept
    assert PASSWORD not in login
    assert login.startswith("$argon2id$")


# --- At the counter -----------------------------------------------------------------------------------------


def test_at_an_enrolled_counter_badge_and_pin_are_enough(pages: Pages, kim: Browser) -> None:
    kim.get("/own")
    assert kim.post("/own/pin", pin="274913").status == 303
    kim.get("/own")
    assert kim.post("/stations", site="NORTH", name="Counter 1").status == 303
    kim.get("/own")
    kim.post("/out")
    page = kim.get("/in")
    assert "At Counter 1" in page.text
    page = kim.post("/in/counter", badge="K1", pin="274914")
    assert "The badge or the PIN is wrong." in page.text
    assert kim.post("/in/counter", badge="K1", pin="274913").status == 303
    assert "Kim Keeper, at Counter 1" in kim.get("/").text
    pages.clock.pass_by(minutes=15)
    assert kim.get("/").headers["location"].startswith("/in")


def test_failures_elsewhere_keep_nobody_from_the_counter(pages: Pages, kim: Browser) -> None:
    test_at_an_enrolled_counter_badge_and_pin_are_enough(pages, kim)
    for _ in range(10):
        pages.browser().log_in("K1", WRONG)
    kim.get("/in")
    assert kim.post("/in/counter", badge="K1", pin="274913").status == 303
    kim.get("/")
    kim.post("/out")
    kim.get("/in")
    for _ in range(10):
        kim.post("/in/counter", badge="K1", pin="274914")
    assert "Too many tries failed." in kim.post("/in/counter", badge="K1", pin="274913").text


def test_at_the_counter_nothing_is_done_that_needs_to_be_sure(pages: Pages, kim: Browser) -> None:
    test_at_an_enrolled_counter_badge_and_pin_are_enough(pages, kim)
    kim.get("/in")
    kim.post("/in/counter", badge="K1", pin="274913")
    kim.get("/own")
    assert kim.post("/own/pin", pin="583920").headers["location"] == "/again?next=/"


def test_a_pin_elsewhere_lets_nobody_in(pages: Pages, kim: Browser) -> None:
    kim.get("/own")
    kim.post("/own/pin", pin="274913")
    browser = pages.browser()
    browser.get("/in")
    page = browser.post("/in/counter", badge="K1", pin="274913")
    assert "This browser is not enrolled as a counter" in page.text


def test_what_needs_to_be_sure_asks_again_after_five_minutes(pages: Pages, kim: Browser) -> None:
    pages.clock.pass_by(minutes=5)
    kim.get("/own")
    assert kim.post("/own/pin", pin="274913").headers["location"] == "/again?next=/"
    kim.get("/again?next=/own")
    before = kim.cookies["__Host-fleet"]
    assert kim.post("/again", password=WRONG, code="", next="/own").status == 403
    page = kim.post("/again", password=PASSWORD, code=pages.code("K1"), next="/own")
    assert page.headers["location"] == "/own"
    assert kim.cookies["__Host-fleet"] != before
    kim.get("/own")
    assert kim.post("/own/pin", pin="274913").headers["location"] == "/own"


# --- Letters ------------------------------------------------------------------------------------------------


def test_a_letter_is_acknowledged_by_a_button_and_by_no_link(staffed: LetterDesk, kim: Browser) -> None:
    staffed.write()
    staffed.send(Outbox())
    (line,) = [line for line in staffed.letters() if line.badge == "K1"]
    assert "Letters to acknowledge (1)" in kim.get("/").text
    assert kim.get(f"/letters/{line.id}").status == 200
    assert kim.get(f"/letters/{line.id}/acknowledge").status == 405
    kim.get("/")
    assert kim.post(f"/letters/{line.id}/acknowledge").headers["location"] == f"/letters/{line.id}"
    assert "Acknowledged by Kim Keeper" in kim.get(f"/letters/{line.id}").text
    assert "No letter of yours waits" in kim.get("/").text


@pytest.mark.usefixtures("kim")
def test_nobody_reads_or_acknowledges_the_letters_of_others(staffed: LetterDesk, pages: Pages) -> None:
    staffed.write()
    staffed.send(Outbox())
    pat = pages.accept(link_for(pages, "P1", "K1"), "P1")
    (line,) = [line for line in staffed.letters() if line.badge == "K1"]
    assert pat.get(f"/letters/{line.id}").status == 404
    pat.get("/")
    assert pat.post(f"/letters/{line.id}/acknowledge").status == 404


def test_whoever_answers_for_a_site_reads_its_letters_and_acknowledges_their_own(
    staffed: LetterDesk, kim: Browser
) -> None:
    staffed.write()
    staffed.send(Outbox())
    (line,) = [line for line in staffed.letters() if line.badge == "P1"]
    page = kim.get(f"/letters/{line.id}")
    assert page.status == 200
    assert "I have read it" not in page.text
    assert kim.post(f"/letters/{line.id}/acknowledge").status == 403
