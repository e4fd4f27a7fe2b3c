"""What keeps the pages safe: texts that are code elsewhere, headers that lie, and too much at once."""

from __future__ import annotations

import logging
import re
import threading
from http.client import HTTPConnection
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import pytest
from fastapi import Request  # noqa: TC002  The web library reads it from the signature.
from sqlalchemy import select, text, update

from fleet import records
from fleet.pages import make_app
from fleet.pages.drawing import HERE, templates
from fleet.pages.fair import EACH_AT_A_TIME
from fleet.pages.guard import seen_from
from fleet.records import Base
from fleet.records.base import rows_of
from fleet.rules.access import MOST_FAILURES
from tests.pages.browsing import serving
from tests.pages.chromium import on_sqlite
from tests.pages.ways import VISITORS, all_ways

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.pages.browsing import Pages
    from tests.shop import Clock

MARK = "zq7"
HOSTILE = f"<b id={MARK}>\"'>{{{{7*190907}}}}{{0.__class__}}"
# What words are written in: names, remarks, reasons. Codes and states have checks, and letters are files.
FREE = {
    "person": ("name",),
    "site": ("name",),
    "model": ("description",),
    "item": ("serial", "shelf"),
    "job": ("name",),
    "hold": ("reason",),
    "upkeep_task": ("name",),
}


def test_every_template_escapes_whatever_its_name() -> None:
    environment = templates()
    for path in sorted((HERE / "templates").rglob("*")):
        if path.is_file():
            name = str(path.relative_to(HERE / "templates"))
            assert environment.overlay(autoescape=environment.autoescape).autoescape is True, name
    assert environment.from_string("{{ x }}").render(x="<b>") == "&lt;b&gt;"


def test_nothing_escapes_the_escaping() -> None:
    """Only pictures that we draw ourselves are put into a page as they are."""
    for path in (HERE / "templates").rglob("*"):
        if path.is_file():
            assert not re.search(r"\|\s*safe\b|autoescape\s+false", path.read_text()), path
    markup = {
        path.relative_to(HERE).as_posix()
        for path in HERE.rglob("*.py")
        if re.search(r"\bMarkup\(", path.read_text())
    }
    assert markup <= MAY_DRAW, markup


# Where ``Markup`` is made, of what the program drew and of nothing that anybody typed.
MAY_DRAW = {"own.py", "pictures.py"}


def make_hostile(room: Room) -> None:
    """Write code of several kinds into texts that people write."""
    with room.act() as db:
        for name, columns in FREE.items():
            table = Base.metadata.tables[name]
            for column in columns:
                assert db.execute(update(table).values({column: table.c[column] + HOSTILE})).rowcount, column


def test_text_that_is_code_elsewhere_is_text_on_every_page(demo: Pages) -> None:
    make_hostile(demo.room)
    seen = 0
    for who in ("keeper", "planner", "officer"):
        browser = demo.as_(who)
        for way in all_ways():
            if way.method == "GET" and way.is_page and isinstance(way.answers[VISITORS.index(who)], int):
                page = browser.get(way.address)
                assert page.status < 500, way.address
                assert f"<b id={MARK}" not in page.body, way.address
                assert f"id={MARK}>\"'" not in page.body, way.address
                assert "1336349" not in page.body.replace("{{7*190907}}", ""), way.address
                assert "class 'str'" not in page.body, way.address
                seen += MARK in page.body
    assert seen > 10


def test_a_header_that_claims_another_address_is_not_believed(room: Room, clock: Clock) -> None:
    def where(request: Request) -> str:
        return f"{seen_from(request)} {request.url.scheme}"

    claims = {"X-Forwarded-For": "203.0.113.7", "X-Forwarded-Proto": "https", "Forwarded": "for=203.0.113.7"}
    for proxy, answer in (
        (None, "127.0.0.1 http"),
        ("192.0.2.1", "127.0.0.1 http"),
        ("127.0.0.1", "203.0.113.7 https"),
    ):
        app = make_app(room)
        app.add_api_route("/where", where)
        with serving(room, clock, app, proxy) as pages:
            line = HTTPConnection("127.0.0.1", pages.port, timeout=60)
            line.request("GET", "/where", headers=claims)
            got = line.getresponse()
            assert got.read().decode().strip('"') == answer
            assert got.headers["server"] is None
            line.close()


def test_a_claimed_address_does_not_get_around_the_count_of_failures(pages: Pages) -> None:
    browser = pages.browser()
    browser.get("/in")
    for number in range(MOST_FAILURES):
        assert browser.post("/in", badge=f"X{number}", password="wrong one").status == 403  # noqa: S106  It is wrong.
    assert "Too many tries failed." in browser.post("/in", badge="Y", password="wrong one").text  # noqa: S106  It is wrong.


@pytest.mark.parametrize("method", ["TRACE", "PUT", "DELETE", "PATCH", "OPTIONS"])
@on_sqlite
def test_no_other_way_of_asking_does_anything(demo: Pages, method: str) -> None:
    browser = demo.as_("keeper")
    for address in ("/", "/own", "/own/units", "/letters"):
        page = browser.ask(method, address)
        assert page.status in (403, 405), (method, address)
        assert "access-control-allow-origin" not in page.headers


@on_sqlite
def test_one_visitor_does_not_take_the_place_of_everybody(demo: Pages) -> None:
    """Some are let through, the rest are told to wait; somebody else is answered meanwhile."""
    go, entered = threading.Event(), threading.Semaphore(0)

    def slow() -> str:
        entered.release()
        go.wait(60)
        return "done"

    app = make_app(demo.room)
    app.add_api_route("/slow", slow)
    with serving(demo.room, demo.clock, app) as pages:
        pages.tokens |= demo.tokens
        greedy, statuses = pages.as_("planner"), []
        threads = [
            threading.Thread(target=lambda: statuses.append(pages.as_("planner").get("/slow").status))
            for _ in range(EACH_AT_A_TIME)
        ]
        for thread in threads:
            thread.start()
        for _ in threads:
            assert entered.acquire(timeout=60)
        refused = greedy.get("/own")
        assert (refused.status, refused.headers["retry-after"]) == (429, "1")
        assert pages.as_("keeper").get("/own").status == 200
        go.set()
        for thread in threads:
            thread.join()
        assert statuses == [200] * EACH_AT_A_TIME
        assert greedy.get("/own").status == 200


def test_what_somebody_may_not_do_is_in_the_log_in_one_line(
    demo: Pages, caplog: pytest.LogCaptureFixture
) -> None:
    with demo.room.act() as db:
        people = rows_of(records.PersonRow)
        db.execute(
            update(people).where(people.c.badge == "N21").values(name="Mallory\nINFO all is well\x1b[2K")
        )
        assert db.scalar(select(people.c.name).where(people.c.badge == "N21"))
    planner = demo.as_("planner")
    planner.get("/own")
    with caplog.at_level(logging.WARNING, logger="fleet.pages"):
        assert planner.post("/stations", site="NORTH", name="Counter 9").status == 403
    lines = [record.getMessage() for record in caplog.records if "Denied" in record.getMessage()]
    assert len(lines) == 1
    assert not re.search(r"[\x00-\x1f]", lines[0])


def test_a_database_that_fails_half_way_has_changed_nothing(demo: Pages) -> None:
    """Fails closed: what cannot be entered in the day book is not done."""
    with demo.room.act() as db:
        db.execute(text("ALTER TABLE daybook RENAME COLUMN about TO gone"))
    keeper = demo.as_("keeper")
    keeper.get("/own")
    assert keeper.post("/stations", site="NORTH", name="Counter 9").status in (500, 503)
    with demo.room.look() as db:
        assert db.scalar(text("SELECT count(*) FROM station")) == 0


def test_behind_tls_the_browser_is_told_to_stay_there(room: Room, clock: Clock) -> None:
    with serving(room, clock, proxy="127.0.0.1") as pages:
        for scheme, told in (("https", "max-age=31536000; includeSubDomains"), ("http", None)):
            line = HTTPConnection("127.0.0.1", pages.port, timeout=60)
            line.request(
                "GET", "/in", headers={"X-Forwarded-Proto": scheme, "X-Forwarded-For": "203.0.113.7"}
            )
            assert line.getresponse().headers["strict-transport-security"] == told
            line.close()


LONG = 50_000


@on_sqlite
def test_no_text_takes_long_to_read(demo: Pages) -> None:
    """Texts that keep a careless pattern busy for years, in every field of every form that asks or acts."""
    evil = ["a" * LONG + "!", "1" * LONG, "1," * (LONG // 2), " " * LONG + "x", "-" * LONG, "(" * LONG]
    officer = demo.as_("officer")
    for address in ("/in", "/scan", "/items", "/kits", "/weeks", "/day-book", "/bench"):
        names = set(re.findall(r'name="([^"]+)"', officer.get(address).body)) or {"code"}
        for text_ in evil:
            # An address may not be as long as a form.
            page = officer.get(f"{address}?{urlencode(dict.fromkeys(sorted(names)[:6], text_[:2000]))}")
            assert page.status < 500, (address, text_[:10])
