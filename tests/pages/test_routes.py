"""Every address × every kind of visitor; the headers of every answer; nothing is changed by a link."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import delete, text, update

from fleet import records
from fleet.pages import make_app
from fleet.pages.headers import ALWAYS
from fleet.records import Base
from fleet.records.base import rows_of
from tests.pages.browsing import serving
from tests.pages.ways import VISITORS, Answer, Way, all_ways
from tests.pages.ways.entering import LAST

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.room import Room
    from tests.pages.browsing import Browser, Pages
    from tests.shop import Clock

WAYS = (*all_ways(), LAST)
LINKS = [way for way in WAYS if way.method == "GET"]
ACTS = [way for way in WAYS if way.method == "POST"]


def addresses(routes: list[object], prefix: str = "") -> Iterator[tuple[str, re.Pattern[str]]]:
    """Method and pattern of every address; the interface for programs has a table of its own."""
    for route in routes:
        # The web library keeps each part as it was included.
        part = getattr(route, "original_router", None)
        if part:
            yield from addresses(part.routes, prefix)
            continue
        path = prefix + getattr(route, "path", "")
        if path.startswith("/api"):
            continue
        pattern = "".join(
            piece if not piece.startswith("{") else ".+" if ":path" in piece else "[^/]+"
            for piece in re.split(r"(\{[^}]*\})", path)
        )
        if path == "/static":
            pattern += "/.+"
        methods = getattr(route, "methods", None) or ("GET",)
        yield from ((method, re.compile(pattern)) for method in methods if method != "HEAD")


def test_every_address_is_listed(room: Room) -> None:
    listed = {(way.method, way.address.partition("?")[0]) for way in WAYS}
    missing = [
        (method, pattern.pattern)
        for method, pattern in addresses(list(make_app(room).routes))
        if not any(method == known and pattern.fullmatch(path) for known, path in listed)
    ]
    assert missing == []


def told(browser: Browser, way: Way) -> Answer:
    kept = dict(browser.cookies)
    token = browser.get("/own")
    if token.status != 200:
        browser.get("/in")
    answer = browser.get(way.address) if way.method == "GET" else browser.post(way.address, **way.form)
    browser.cookies = kept
    if answer.status == 303:
        return answer.headers["location"].partition("?")[0]
    return answer.status


def all_answers(browser: Browser) -> dict[tuple[str, str], Answer]:
    return {(way.method, way.address): told(browser, way) for way in WAYS}


@pytest.mark.parametrize("who", VISITORS)
def test_every_address_answers_each_visitor_as_listed(demo: Pages, who: str) -> None:
    place = VISITORS.index(who)
    expected = {(way.method, way.address): way.answers[place] for way in WAYS}
    assert all_answers(demo.as_(who)) == expected


def test_somebody_who_left_is_nobody_at_once(demo: Pages) -> None:
    browsers = {who: demo.as_(who) for who in VISITORS[1:]}
    people = rows_of(records.PersonRow)
    with demo.room.act() as db:
        db.execute(update(people).values(active=False))
    for who, browser in browsers.items():
        for way in WAYS:
            assert told(browser, way) == way.answers[0], (who, way.address)


def test_a_role_that_was_taken_away_counts_at_once(demo: Pages) -> None:
    """Without any role they are told what somebody is told who never had one."""
    with demo.room.act() as db:
        db.execute(delete(rows_of(records.RoleRow)))
    for who in ("keeper", "planner", "officer"):
        answers = all_answers(demo.as_(who))
        for way in WAYS:
            told_to = way.answers[-1] if way.roleless is None else way.roleless
            # An act is refused as it is to somebody elsewhere, or because they are no administrator.
            wanted = {told_to, 403, way.answers[4]} if way.method == "POST" else {told_to}
            assert answers[way.method, way.address] in wanted, (who, way.address)


@pytest.mark.parametrize("token", ["", "0" * 64, "é"])
def test_no_form_is_taken_without_the_token_of_its_session(demo: Pages, token: str) -> None:
    for who in ("keeper", "nobody"):
        browser = demo.as_(who)
        for way in ACTS:
            page = browser.ask("POST", way.address, {**way.form, "token": token})
            assert page.status == 403, way.address
            assert "This form is out of date." in page.text
    assert demo.as_("keeper").get("/own").status == 200


def test_the_token_of_another_session_is_worth_nothing(demo: Pages) -> None:
    token = demo.as_("planner").get("/own").token
    assert demo.as_("keeper").ask("POST", "/own/units", {"token": token, "pressure": "bar"}).status == 403


def test_every_answer_carries_the_headers_also_one_that_says_no(demo: Pages) -> None:
    for who in ("keeper", "nobody"):
        browser = demo.as_(who)
        for address in [way.address for way in LINKS] + ["/nothing", "/static/nothing", "/letters/x"]:
            page = browser.get(address)
            for name, value in ALWAYS.items():
                assert page.headers[name.lower()] == value, address
            assert ("no-store" in page.headers.get("cache-control", "")) != address.startswith("/static")
            for said in page.cookies:
                assert {"Secure", "HttpOnly"} <= set(said.split("; "))


def test_cookies_are_for_this_host_alone(pages: Pages) -> None:
    browser = pages.browser()
    (said,) = browser.get("/in").cookies
    assert said.startswith("__Host-fleet-form=")
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=lax"} <= set(said.split("; "))
    assert "Domain" not in said


def everything(room: Room) -> dict[str, list[tuple[object, ...]]]:
    with room.look() as db:
        return {
            name: sorted(map(tuple, db.execute(text(f'SELECT * FROM "{name}"'))), key=repr)
            for name in Base.metadata.tables
        }


def test_no_link_changes_anything(demo: Pages) -> None:
    browsers = [demo.as_(who) for who in ("keeper", "planner", "officer")]
    for browser in browsers:
        browser.get("/")
    before = everything(demo.room)
    for browser in browsers:
        for way in LINKS:
            browser.get(way.address)
    after = everything(demo.room)
    for name, rows in before.items():
        assert after[name] == rows, name


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


def test_a_database_that_cannot_be_used_is_said_so(demo: Pages) -> None:
    with demo.room.act() as db:
        db.execute(text("ALTER TABLE acknowledgement RENAME TO gone"))
    page = demo.as_("keeper").get("/letters")
    assert page.status in (500, 503)
    assert "acknowledgement" not in page.body.casefold()


def test_a_form_that_is_too_long_is_not_read(demo: Pages) -> None:
    kim = demo.as_("keeper")
    kim.get("/own")
    assert kim.post("/own/units", pressure="x" * 100_000).status == 403
