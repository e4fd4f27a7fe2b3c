"""Every address × every kind of token: who may, who may not, and what they are told."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlalchemy import insert, text, update

from fleet import records
from fleet.desk.logins import invite, set_password
from fleet.desk.tokens import end_token, make_calendar
from fleet.lists.people import find_actor
from fleet.lists.sites import find_site
from fleet.lists.tokens import tokens
from fleet.pages.api import make_api
from fleet.pages.api.describing import describe
from fleet.records import Base
from fleet.records.base import rows_of
from fleet.rules.people import SETTING_UP
from fleet.rules.tokens import Scope
from tests.pages.api.programs import CALLS, FOR_PROGRAMS, ROLES, Programs
from tests.pages.browsing import PASSWORD
from tests.pages.demo import BADGES

if TYPE_CHECKING:
    from fleet.room import Room

ACTS = [call for call in CALLS if call.method == "POST" and call.scope is not Scope.READ]
QUIET = [call for call in CALLS if call not in ACTS]


def token_of(programs: Programs, role: str, *scopes: Scope) -> str:
    """A token as its maker had it, also when they have no role any more."""
    if role != "administrator":
        return programs.token(BADGES[role], *scopes)
    site, people, roles = "NORTH", rows_of(records.PersonRow), rows_of(records.RoleRow)
    with programs.pages.room.act() as db:
        person = db.execute(text("SELECT id FROM person WHERE badge = 'N41'")).scalar_one()
        row = {"person_id": person, "site_id": find_site(db, site).id, "role": "keeper"}
        db.execute(insert(roles), row)
    token = programs.token(BADGES[role], *scopes)
    with programs.pages.room.act() as db:
        db.execute(roles.delete().where(roles.c.person_id == person))
        db.execute(update(people).where(people.c.id == person).values(administrator=True))
    return token


def everything(room: Room) -> dict[str, list[tuple[object, ...]]]:
    with room.look() as db:
        return {
            name: sorted(map(tuple, db.execute(text(f'SELECT * FROM "{name}"'))), key=repr)
            for name in Base.metadata.tables
        }


def test_every_address_is_in_the_table(demo_room: Room) -> None:
    app = make_api(demo_room)
    described = {
        (method.upper(), path) for path, operations in describe(app)["paths"].items() for method in operations
    }
    assert {call.listed for call in CALLS} == described
    open_to_all = {
        getattr(route, "path", "") for route in app.routes if not getattr(route, "include_in_schema", True)
    }
    assert open_to_all == {"/", "/openapi.json", "/problems/{sort}"}


@pytest.mark.parametrize("role", ROLES)
def test_every_address_answers_each_role_as_listed(programs: Programs, role: str) -> None:
    place = ROLES.index(role)
    token = token_of(programs, role)
    got = {call.listed: programs.call(call, token) for call in CALLS}
    assert {listed: told.status for listed, told in got.items()} == {
        call.listed: call.answers[place] for call in CALLS
    }, {listed: told.body for listed, told in got.items() if told.status >= 400}
    for told in got.values():
        if told.status >= 400:
            assert told.problem


def test_without_its_scope_a_token_does_nothing(programs: Programs) -> None:
    before = everything_but_tokens(programs)
    tokens_without: dict[Scope, str] = {
        scope: programs.token("N11", *(other for other in FOR_PROGRAMS if other is not scope))
        for scope in FOR_PROGRAMS
    }
    for call in CALLS:
        told = programs.call(call, tokens_without[call.scope])
        assert told.problem == (403, "not-for-this"), call.listed
        assert f'scope="{call.scope}"' in told.headers["www-authenticate"]
    assert everything_but_tokens(programs) == before


def everything_but_tokens(programs: Programs) -> dict[str, list[tuple[object, ...]]]:
    found = everything(programs.pages.room)
    return {name: rows for name, rows in found.items() if name not in ("token", "daybook")}


@pytest.mark.parametrize(
    "why", ["none", "made up", "ended", "expired", "person left", "new password", "calendar", "cookie"]
)
def test_no_usable_token_no_answer(programs: Programs, why: str) -> None:
    token: str | None = programs.token("N11", days=1)
    headers: dict[str, str] = {}
    room = programs.pages.room
    with room.act() as db:
        actor, _ = find_actor(db, "N11")
        now = room.now(db)
        if why == "ended":
            end_token(db, tokens(db, actor.id or 0)[0].id, by=actor, now=now)
        elif why == "person left":
            db.execute(text("UPDATE person SET active = FALSE WHERE badge = 'N11'"))
        elif why == "new password":
            link = invite(db, "N11", by=SETTING_UP, now=now)
            set_password(db, link, PASSWORD, "test", now=now)
        elif why == "calendar":
            token = make_calendar(db, find_site(db, "NORTH"), by=actor, now=now)
    if why == "expired":
        programs.pages.clock.pass_by(days=1)
    elif why in ("none", "cookie"):
        token = None
        if why == "cookie":
            headers["Cookie"] = f"__Host-fleet={programs.pages.tokens['keeper']}"
    elif why == "made up":
        token = "x" * 43
    before = everything(room)
    for call in CALLS:
        told = programs.ask(call.method, f"/api{call.path}", token, call.body, **headers)
        assert told.problem == (401, "no-token"), call.listed
        assert told.headers["www-authenticate"].startswith("Bearer ")
    assert everything(room) == before


def test_a_wrong_body_is_explained_to_nobody_without_a_token(programs: Programs) -> None:
    for call in CALLS:
        if call.method == "POST":
            told = programs.ask("POST", f"/api{call.path}", None, {"surplus": 1})
            assert told.problem == (401, "no-token"), call.listed


def test_a_token_of_one_site_sees_nothing_of_another_of_its_person(programs: Programs) -> None:
    both, north = programs.token("E31"), programs.token("E31", site="NORTH")
    assert [one["code"] for one in programs.ask("GET", "/api/sites", both).json["lines"]] == ["EAST", "NORTH"]
    assert [one["code"] for one in programs.ask("GET", "/api/sites", north).json["lines"]] == ["NORTH"]
    assert programs.ask("GET", "/api/due", north).json["lines"][0]["tag"].startswith("20")
    for path in ("/due?site=EAST", "/items/301135", "/jobs/EQ-133", "/daybook?site=EAST"):
        assert programs.ask("GET", f"/api{path}", both).status == 200
        assert programs.ask("GET", f"/api{path}", north).problem == (404, "not-found")
    hold = {"item": "301135", "reason": "a scratch on the piston"}
    assert programs.ask("POST", "/api/holds", north, hold).problem == (404, "not-found")
    assert programs.ask("POST", "/api/holds", both, hold).status == 200


def test_what_is_elsewhere_is_told_in_the_words_of_what_is_nowhere(programs: Programs) -> None:
    token = programs.token("N11")
    there = programs.ask("GET", "/api/items/301135", token).json["detail"]
    nowhere = programs.ask("GET", "/api/items/301143", token).json["detail"]
    assert there.replace("301135", "TAG") == nowhere.replace("301143", "TAG")
    there = programs.ask("GET", "/api/jobs/EQ-133", token).json["detail"]
    nowhere = programs.ask("GET", "/api/jobs/EQ-999", token).json["detail"]
    assert there.replace("EQ-133", "JOB") == nowhere.replace("EQ-999", "JOB")


def test_a_role_that_was_taken_away_counts_at_once(programs: Programs) -> None:
    token = programs.token("N11")
    assert programs.ask("GET", "/api/due", token).status == 200
    roles = rows_of(records.RoleRow)
    with programs.pages.room.act() as db:
        here = db.execute(text("SELECT id FROM site WHERE code = 'NORTH'")).scalar_one()
        mine = (roles.c.role == "keeper") & (roles.c.site_id == here)
        db.execute(update(roles).where(mine).values(role="planner"))
    hold = {"item": "201056", "reason": "a scratch on the piston"}
    assert programs.ask("POST", "/api/holds", token, hold).problem == (403, "not-allowed")
    with programs.pages.room.act() as db:
        db.execute(roles.delete())
    assert programs.ask("GET", "/api/due", token).problem == (404, "not-found")


def test_reading_and_checking_change_nothing(programs: Programs) -> None:
    token = programs.token("N11")
    before = everything(programs.pages.room)
    for call in QUIET:
        assert programs.call(call, token).status == 200, call.listed
    assert everything(programs.pages.room) == before


def test_the_day_book_names_the_person_and_the_token(programs: Programs) -> None:
    token = programs.token("N11", name="Counter tablet")
    hold = {"item": "201056", "reason": "a scratch on the piston"}
    assert programs.ask("POST", "/api/holds", token, hold, key="hold-0001").status == 200
    noted, held = programs.ask("GET", "/api/daybook?limit=2", token).json["lines"]
    assert (held["person_name"], held["act"], held["about"]) == ("Marla Quistgard", "hold opened", "201056")
    assert (noted["person_name"], noted["act"], noted["about"]) == (
        "Marla Quistgard",
        "asked by token",
        "Counter tablet",
    )
    assert "hold-0001" in noted["body"]


def test_pages_lead_through_all_items_once(programs: Programs) -> None:
    token = programs.token("N11")
    whole = programs.ask("GET", "/api/items?limit=200", token).json
    assert whole["next"] is None
    page = programs.ask("GET", "/api/items?limit=37", token).json
    found = page["lines"]
    while page["next"]:
        page = programs.ask("GET", f"/api/items?limit=37&after={page['next']}", token).json
        found += page["lines"]
    assert found == whole["lines"]
    assert len(found) > 100


def test_the_day_book_is_read_on_by_number(programs: Programs) -> None:
    token = programs.token("N11")
    for at in range(3):
        use = {"item": "201466", "minutes": 1, "note": f"test run number {at}"}
        assert programs.ask("POST", "/api/uses", token, use).status == 200
    whole = programs.ask("GET", "/api/daybook?limit=200", token).json
    first = programs.ask("GET", "/api/daybook?limit=4", token).json
    second = programs.ask("GET", f"/api/daybook?limit=200&after={first['next']}", token).json
    assert len(first["lines"]) == 4
    assert first["lines"] + second["lines"] == whole["lines"]
    assert [one["seq"] for one in whole["lines"]] == list(range(len(whole["lines"]), 0, -1))
    assert (second["next"], whole["next"]) == (None, None)
