"""Every address × every kind of visitor; the headers of every answer; nothing is changed by a link."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text

from fleet.pages import make_app
from fleet.pages.headers import ALWAYS
from fleet.records import Base
from tests.pages.browsing import serving
from tests.pages.conftest import first_link, link_for

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.pages.browsing import Browser, Pages
    from tests.shop import Clock

# What somebody without a log-in, a planner, and an administrator who is sure are answered: a status, or the
# page they are sent to. An address that is not listed here fails the test.
DOOR, HOME, AGAIN = "/in?next=", "/", "/again?next="
EXPECTED: dict[tuple[str, str], tuple[int | str, int | str, int | str]] = {
    ("GET", "/healthz"): (200, 200, 200),
    ("GET", "/healthz/duty"): (503, 503, 503),
    ("GET", "/static/fleet.css"): (200, 200, 200),
    ("GET", "/in"): (200, HOME, HOME),
    ("POST", "/in"): (403, 403, 403),
    ("POST", "/in/counter"): (403, 403, 403),
    ("POST", "/out"): ("/in", "/in", "/in"),
    ("GET", "/again"): (DOOR, 200, 200),
    ("POST", "/again"): (DOOR, 403, 403),
    ("GET", "/invited/made-up"): (409, 409, 409),
    ("POST", "/invited/made-up"): (409, 409, 409),
    ("GET", "/"): (DOOR, 200, 200),
    ("GET", "/letters"): (DOOR, 200, 200),
    ("GET", "/letters/1"): (DOOR, 404, 404),
    ("POST", "/letters/1/acknowledge"): (DOOR, 404, 404),
    ("GET", "/job"): (DOOR, 404, 404),
    ("GET", "/kit-sheet"): (DOOR, 404, 404),
    ("GET", "/kit-sheet.pdf"): (DOOR, 404, 404),
    ("GET", "/own"): (DOOR, 200, 200),
    ("POST", "/own/units"): (DOOR, "/own", "/own"),
    ("POST", "/own/pin"): (DOOR, 422, 422),
    ("GET", "/own/second-factor"): (DOOR, 200, 200),
    ("POST", "/own/second-factor"): (DOOR, 422, 422),
    ("POST", "/stations"): (DOOR, 403, 409),
    ("POST", "/stations/1/end"): (DOOR, 403, "/own"),
    ("POST", "/invitations"): (DOOR, 403, 404),
}


def pattern(address: str) -> str:
    """As the program lists it: ``/letters/1`` is one of ``/letters/{letter}``."""
    return re.sub(r"/(\d+|made-up)(?=/|$)", "/{}", address)


def told(browser: Browser, method: str, address: str) -> int | str:
    browser.get("/own")
    if browser.last is None or browser.last.status != 200:
        browser.get("/in")
    if method == "GET":
        page = browser.get(address)
    else:
        page = browser.post(address, badge="nobody", password="no", site="NORTH", name="")  # noqa: S106  It is wrong.
    if page.status == 303:
        way = page.headers["location"]
        return DOOR if way.startswith(DOOR) else way
    return page.status


def test_every_address_is_listed_here(room: Room) -> None:
    listed = {(method, pattern(address)) for method, address in EXPECTED}
    found = set()
    for mounted in make_app(room).routes:
        # The web library keeps each part as it was included.
        part = getattr(mounted, "original_router", None)
        for route in part.routes if part else [mounted]:
            methods = getattr(route, "methods", None) or ("GET",)
            address = re.sub(r"\{[^}]*\}", "{}", getattr(route, "path", ""))
            address = "/static/fleet.css" if address == "/static" else address
            found |= {(method, address) for method in methods if method != "HEAD"}
    assert found == listed


@pytest.mark.parametrize("who", ["nobody", "planner", "administrator"])
def test_every_address_answers_each_visitor_as_listed(pages: Pages, who: str) -> None:
    administrator = pages.accept(first_link(pages, "K1"), "K1")
    planner = pages.accept(link_for(pages, "P1", "K1"), "P1")
    answers: dict[tuple[str, str], int | str] = {}
    for method, address in EXPECTED:
        browser = {"nobody": pages.browser(), "planner": planner, "administrator": administrator}[who]
        kept = dict(browser.cookies)
        if (method, address) == ("POST", "/out") and who != "nobody":
            # Whoever logs out has to come back for the others.
            answers[method, address] = "/in"
            continue
        answers[method, address] = told(browser, method, address)
        browser.cookies = kept
    place = ["nobody", "planner", "administrator"].index(who)
    assert answers == {key: expected[place] for key, expected in EXPECTED.items()}


@pytest.mark.parametrize("token", ["", "0" * 64, "é"])
def test_no_form_is_taken_without_the_token_of_its_session(pages: Pages, token: str) -> None:
    kim = pages.accept(first_link(pages, "K1"), "K1")
    for browser in (kim, pages.browser()):
        for method, address in EXPECTED:
            if method == "POST":
                page = browser.ask("POST", address, {"token": token, "badge": "K1"})
                assert page.status == 403, address
                assert "This form is out of date." in page.text
    assert kim.get("/own").status == 200


def test_the_token_of_another_session_is_worth_nothing(pages: Pages) -> None:
    kim = pages.accept(first_link(pages, "K1"), "K1")
    pat = pages.accept(link_for(pages, "P1", "K1"), "P1")
    token = pat.get("/own").token
    assert kim.ask("POST", "/own/units", {"token": token, "pressure": "bar"}).status == 403


def test_every_answer_carries_the_headers_also_one_that_says_no(pages: Pages) -> None:
    kim = pages.accept(first_link(pages, "K1"), "K1")
    for browser in (kim, pages.browser()):
        for address in ("/", "/in", "/own", "/nothing", "/static/fleet.css", "/static/nothing", "/letters/x"):
            page = browser.get(address)
            for name, value in ALWAYS.items():
                assert page.headers[name.lower()] == value, address
            assert ("no-store" in page.headers.get("cache-control", "")) != address.startswith("/static")
        for said in kim.get("/").cookies:
            assert {"Secure", "HttpOnly"} <= set(said.split("; "))


def test_cookies_are_for_this_host_alone(pages: Pages) -> None:
    browser = pages.browser()
    (said,) = browser.get("/in").cookies
    assert said.startswith("__Host-fleet-form=")
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=lax"} <= set(said.split("; "))
    assert "Domain" not in said


def test_no_link_changes_anything(pages: Pages) -> None:
    kim = pages.accept(first_link(pages, "K1"), "K1")
    kim.get("/")

    def everything() -> dict[str, list[tuple[object, ...]]]:
        with pages.room.look() as db:
            return {
                name: sorted(map(tuple, db.execute(text(f"SELECT * FROM {name}"))), key=repr)
                for name in Base.metadata.tables
            }

    before = everything()
    for method, address in EXPECTED:
        if method == "GET":
            kim.get(address)
    assert everything() == before


def test_what_breaks_is_not_shown(room: Room, clock: Clock) -> None:
    def breaks() -> None:
        raise RuntimeError("a secret of the house")

    app = make_app(room)
    app.add_api_route("/breaks", breaks)
    with serving(room, clock, app) as pages:
        page = pages.browser().get("/breaks")
    assert page.status == 500
    assert page.body.startswith("Something broke, and nothing was changed. It is in the log under ")
    assert "secret" not in page.body
    assert page.headers["content-security-policy"] == ALWAYS["Content-Security-Policy"]


def test_a_database_that_cannot_be_used_is_said_so(pages: Pages, room: Room) -> None:
    kim = pages.accept(first_link(pages, "K1"), "K1")
    with room.act() as db:
        db.execute(text("ALTER TABLE acknowledgement RENAME TO gone"))
    page = kim.get("/letters")
    assert page.status in (500, 503)
    assert "acknowledgement" not in page.body.casefold()


def test_a_form_that_is_too_long_is_not_read(pages: Pages) -> None:
    kim = pages.accept(first_link(pages, "K1"), "K1")
    kim.get("/own")
    assert kim.post("/own/units", pressure="x" * 100_000).status == 403
