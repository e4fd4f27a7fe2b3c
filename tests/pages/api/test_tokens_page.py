"""Tokens and calendar links as people make them, and the calendar that a calendar program reads."""

from __future__ import annotations

import logging
import re
from typing import TYPE_CHECKING

import pytest
from icalendar import Calendar
from sqlalchemy import select, text

from fleet import records
from fleet.desk.tokens import TokenSlip, make_token
from fleet.lists.people import find_actor
from fleet.lists.sites import find_site
from fleet.refusals import NotAllowed, NotPossible
from fleet.rules.secrets import digest_of
from fleet.rules.tokens import MEANING, Scope, check_token
from tests.pages.api.programs import Programs
from tests.pages.api.test_tokens_at_work import everything

if TYPE_CHECKING:
    from tests.pages.browsing import Browser, Page, Pages


def shown(page: Page) -> str:
    found = re.search(r"<code>([^<]+)</code>", page.body)
    assert found, page.text
    return found[1]


def make(browser: Browser, **fields: str | tuple[str, ...]) -> Page:
    browser.get("/tokens")
    usual: dict[str, str | tuple[str, ...]] = {"name": "Counter tablet", "scope": ("read", "counter")}
    return browser.post("/tokens", **(usual | fields))


def make_link(browser: Browser, site: str = "NORTH") -> str:
    browser.get("/tokens")
    address = shown(browser.post("/calendars", site=site))
    return "/" + address.split("/", 3)[3]


# --- Tokens -------------------------------------------------------------------------------------------------


def test_a_token_is_shown_once_works_and_is_kept_as_a_digest(demo: Pages) -> None:
    kim, programs = demo.as_("keeper"), Programs(demo)
    token = shown(make(kim))
    assert programs.ask("GET", "/api/due", token).status == 200
    assert token not in kim.get("/tokens").body
    with demo.room.look() as db:
        row = db.execute(select(records.TokenRow.token_sha256, records.TokenRow.scopes)).one()
        everywhere = repr(everything(demo.room))
    assert tuple(row) == (digest_of(token), "read counter")
    assert token not in everywhere


def test_a_token_lasts_ninety_days_unless_less_or_more_is_asked_for(demo: Pages) -> None:
    kim, programs = demo.as_("keeper"), Programs(demo)
    usual, long = shown(make(kim)), shown(make(kim, days="365"))
    demo.clock.pass_by(days=90, seconds=-1)
    assert programs.ask("GET", "/api/due", usual).status == 200
    demo.clock.pass_by(seconds=1)
    assert programs.ask("GET", "/api/due", usual).status == 401
    demo.clock.pass_by(days=275, seconds=-1)
    assert programs.ask("GET", "/api/due", long).status == 200
    demo.clock.pass_by(seconds=1)
    assert programs.ask("GET", "/api/due", long).status == 401


def test_an_ended_token_is_over_at_once_and_only_its_person_ends_it(demo: Pages) -> None:
    kim, programs = demo.as_("keeper"), Programs(demo)
    token = shown(make(kim))
    other = demo.as_("planner")
    other.get("/tokens")
    assert other.post("/tokens/1/end").status == 404
    assert programs.ask("GET", "/api/due", token).status == 200
    kim.get("/tokens")
    assert kim.post("/tokens/1/end").status == 303
    assert programs.ask("GET", "/api/due", token).status == 401
    page = kim.get("/tokens")
    assert "Counter tablet, ended" in page.text
    assert kim.post("/tokens/1/end").status == 404


def test_to_make_one_takes_a_proof_of_a_moment_ago(demo: Pages) -> None:
    kim = demo.as_("keeper")
    demo.clock.pass_by(minutes=6)
    for path, fields in (("/tokens", {"name": "x", "scope": "read"}), ("/calendars", {"site": "NORTH"})):
        kim.get("/tokens")
        page = kim.post(path, **fields)
        assert page.status == 303
        assert page.headers["location"].startswith("/again")
    with demo.room.look() as db:
        assert db.execute(select(records.TokenRow.id)).all() == []


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"scope": ()}, "Choose what the token is for"),
        ({"scope": "calendar"}, "Choose of what is offered."),
        ({"scope": "everything"}, "Choose of what is offered."),
        ({"name": ""}, "Give the token a name"),
        ({"name": "x" * 61}, "Give the token a name"),
        ({"days": "366"}, "A token lasts from 1 to 365 days."),
        ({"days": "0"}, "A token lasts from 1 to 365 days."),
        ({"days": "²"}, "in figures"),
        ({"days": "soon"}, "in figures"),
        ({"scope": "exceptions"}, "lasts for one day at most"),
        ({"scope": ("read", "exceptions"), "days": "2"}, "lasts for one day at most"),
        ({"site": "EAST"}, "There is no site 'EAST' of yours."),
    ],
)
def test_what_cannot_be_made_is_explained(
    demo: Pages, fields: dict[str, str | tuple[str, ...]], said: str
) -> None:
    page = make(demo.as_("keeper"), **fields)
    assert page.status == 422
    assert said in page.text
    assert "<code>" not in page.body


def test_a_token_for_exceptions_lives_for_a_day(demo: Pages) -> None:
    programs = Programs(demo)
    token = shown(make(demo.as_("officer"), scope="exceptions", days="1"))
    asked = {"item": "201933", "by": "inspection", "evidence": 1, "words": "looked over and found sound"}
    assert programs.ask("POST", "/api/holds/release", token, asked).status == 404
    demo.clock.pass_by(days=1)
    assert programs.ask("POST", "/api/holds/release", token, asked).status == 401


def test_whoever_has_no_role_can_make_none(demo: Pages) -> None:
    page = make(demo.as_("administrator"))
    assert page.status == 422
    assert "has no role at any site" in page.text
    with demo.room.act() as db:
        (by, _), now = find_actor(db, "N11"), demo.room.now(db)
        slip = TokenSlip("x", (Scope.READ,), find_site(db, "EAST"))
        with pytest.raises(NotAllowed, match="has no role at East"):
            make_token(db, slip, by=by, now=now)


def test_the_day_book_knows_of_tokens_but_not_the_token(demo: Pages) -> None:
    kim = demo.as_("keeper")
    token = shown(make(kim))
    kim.get("/tokens")
    kim.post("/tokens/1/end")
    with demo.room.look() as db:
        found = db.execute(
            text("SELECT act, about, person_name, body FROM daybook WHERE act LIKE 'token%' ORDER BY seq")
        ).all()
    assert [tuple(row[:3]) for row in found] == [
        ("token made", "Counter tablet", "Marla Quistgard"),
        ("token ended", "Counter tablet", "Marla Quistgard"),
    ]
    assert token not in repr(found)


def test_every_scope_but_the_calendars_is_offered_and_says_what_it_means() -> None:
    assert set(MEANING) == set(Scope) - {Scope.CALENDAR}
    with pytest.raises(NotPossible):
        check_token("x", (Scope.CALENDAR,), 1)
    assert check_token("x", (Scope.REVIEW, Scope.READ), 365) == (Scope.READ, Scope.REVIEW)


# --- The calendar -------------------------------------------------------------------------------------------


def test_a_calendar_is_read_by_its_link_and_names_nobody(demo: Pages) -> None:
    address = make_link(demo.as_("keeper"))
    page = demo.browser().get(address)
    assert page.status == 200
    assert page.headers["content-type"] == "text/calendar; charset=utf-8"
    assert page.headers["cache-control"] == "private, no-cache"
    made = Calendar.from_ical(page.body)
    events = list(made.walk("VEVENT"))
    assert len(events) > 10
    assert len({str(event["uid"]) for event in events}) == len(events)
    assert all("sequence" in event for event in events)
    with demo.room.look() as db:
        names = list(db.execute(text("SELECT name FROM person")).scalars())
    unfolded = page.body.replace("\r\n ", "")
    assert [name for name in names if name in unfolded] == []


def test_a_calendar_that_is_known_is_not_sent_again(demo: Pages) -> None:
    programs = Programs(demo)
    address = make_link(demo.as_("keeper"))
    first = programs.raw("GET", address, None, {})
    mark = first.headers["etag"]
    for known in (mark, f"W/{mark}", f'"other", {mark}', "*"):
        told = programs.raw("GET", address, None, {"If-None-Match": known})
        assert (told.status, told.body, told.headers["etag"]) == (304, b"", mark)
        assert told.headers["cache-control"] == "private, no-cache"
    told = programs.raw("GET", address, None, {"If-None-Match": '"other"'})
    assert (told.status, told.body) == (200, first.body)
    told = programs.raw("HEAD", address, None, {})
    assert (told.status, told.body, told.headers["etag"]) == (200, b"", mark)


def test_a_revision_keeps_its_name_and_counts_up(demo: Pages) -> None:
    programs = Programs(demo)
    address = make_link(demo.as_("keeper"))

    def revisions() -> dict[str, int]:
        events = Calendar.from_ical(programs.raw("GET", address, None, {}).body).walk("VEVENT")
        return {str(event["uid"]): int(str(event["sequence"])) for event in events}

    before, mark = revisions(), programs.raw("GET", address, None, {}).headers["etag"]
    hold = {"item": "201056", "reason": "a scratch on the piston"}
    assert programs.ask("POST", "/api/holds", programs.token("N11"), hold).status == 200
    after = revisions()
    assert set(after) == set(before)
    assert [after[uid] - before[uid] for uid in before if after[uid] != before[uid]]
    assert all(after[uid] >= before[uid] for uid in before)
    assert programs.raw("GET", address, None, {"If-None-Match": mark}).status == 200


def test_a_calendar_is_over_when_it_is_ended_or_its_person_has_no_role_there(demo: Pages) -> None:
    kim, browser = demo.as_("keeper"), demo.browser()
    first, second, third = make_link(kim), make_link(kim), make_link(kim)
    kim.get("/tokens")
    kim.post("/tokens/1/end")
    assert [browser.get(one).status for one in (first, second, third)] == [404, 200, 200]
    demo.clock.pass_by(days=1000)
    assert browser.get(second).status == 200
    with demo.room.act() as db:
        db.execute(text("DELETE FROM role WHERE person_id = (SELECT id FROM person WHERE badge = 'N11')"))
    assert browser.get(second).status == 404
    with demo.room.act() as db:
        db.execute(text("UPDATE person SET active = FALSE WHERE badge = 'N11'"))
    assert browser.get(third).status == 404


def test_a_calendars_link_opens_nothing_else_and_a_token_no_calendar(demo: Pages) -> None:
    programs = Programs(demo)
    address = make_link(demo.as_("keeper"))
    secret = address.removeprefix("/calendar/").removesuffix(".ics")
    assert programs.ask("GET", "/api/due", secret).status == 401
    assert demo.browser().get(f"/calendar/{programs.token('N11')}.ics").status == 404
    assert demo.browser().get("/calendar/made-up.ics").status == 404


def test_reading_a_calendar_changes_nothing(demo: Pages) -> None:
    address = make_link(demo.as_("keeper"))
    before = everything(demo.room)
    assert demo.browser().get(address).status == 200
    assert everything(demo.room) == before


def test_the_secret_of_a_calendar_is_written_into_no_log(
    demo: Pages, caplog: pytest.LogCaptureFixture
) -> None:
    address = make_link(demo.as_("keeper"))
    secret = address.removeprefix("/calendar/").removesuffix(".ics")
    with demo.room.act() as db:
        db.execute(text("ALTER TABLE due_line RENAME TO gone"))
    with caplog.at_level(logging.DEBUG):
        assert demo.browser().get(address).status in (500, 503)
    # The test runner listens even where the server's list of requests is switched off, as it is here.
    assert logging.getLogger("uvicorn.access").propagate is False
    written = [str(record.__dict__) for record in caplog.records if record.name != "uvicorn.access"]
    assert any("broke, number" in one for one in written)
    assert not any(secret in one for one in written)
