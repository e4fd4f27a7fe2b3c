"""Every "no" is a problem with a sentence; nothing else gets out, and nothing undescribed gets in."""

from __future__ import annotations

import json
import logging
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text

from fleet.pages import make_app
from fleet.pages.api.bearer import Buckets, Pace
from fleet.pages.api.problems import SORTS, Problem
from fleet.pages.headers import ALWAYS
from fleet.rules.tokens import Scope
from tests.pages.api.programs import CALLS, Programs
from tests.pages.browsing import serving

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock

POSTS = [call for call in CALLS if call.method == "POST"]


def test_an_unknown_address_is_a_problem(programs: Programs) -> None:
    for path in (
        "/api/nothing",
        "/api/sites/",
        "/api/items/201013/nothing",
        "/api//sites",
        "/api/..",
        "/api/a%0Ab",
    ):
        assert programs.ask("GET", path, programs.token("N11")).problem == (404, "not-found"), path


def test_a_wrong_method_is_told_the_right_ones(programs: Programs) -> None:
    allowed: dict[str, set[str]] = {}
    for call in CALLS:
        allowed.setdefault(call.path.partition("?")[0], set()).add(call.method)
    for path, methods in allowed.items():
        for method in {"GET", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"} - methods:
            told = programs.raw(method, f"/api{path}", None, {})
            assert told.problem == (405, "wrong-method"), (method, path)
            assert set(told.headers["allow"].split(", ")) == methods


def test_every_sort_has_an_address_that_says_what_it_means(programs: Programs) -> None:
    for name, sort in SORTS.items():
        told = programs.ask("GET", f"/api/problems/{name}", None)
        assert told.json == {"title": sort.title, "status": sort.status, "meaning": sort.meaning}
    assert programs.ask("GET", "/api/problems/other", None).problem == (404, "not-found")


@pytest.mark.parametrize("call", POSTS, ids=lambda call: call.path)
def test_a_field_that_is_not_described_is_refused(programs: Programs, call: object) -> None:
    one = next(known for known in POSTS if known is call)
    told = programs.ask("POST", f"/api{one.path}", programs.token("N11"), {**(one.body or {}), "suprise": 1})
    assert told.problem == (422, "invalid")
    assert {"at": "body/suprise", "says": "Extra inputs are not permitted"} in told.json["errors"]


@pytest.mark.parametrize(
    ("path", "body", "place"),
    [
        ("/api/holds", {"item": 201056, "reason": "a scratch on it"}, "body/item"),
        ("/api/holds", {"item": "201056", "reason": "a\0b"}, "body/reason"),
        ("/api/holds", {"item": "201056", "reason": "x" * 501}, "body/reason"),
        ("/api/holds", {"item": "201056", "reason": "a scratch", "cause": "bad luck"}, "body/cause"),
        ("/api/holds", {"item": "201056"}, "body/reason"),
        ("/api/holds", [], "body"),
        ("/api/returns", {"item": "201290", "cycles": "12"}, "body/cycles"),
        ("/api/returns", {"item": "201290", "cycles": 1.5}, "body/cycles"),
        ("/api/returns", {"item": "201290", "cycles": True}, "body/cycles"),
        ("/api/returns", {"item": "201290", "cycles": -1}, "body/cycles"),
        (
            "/api/inspections",
            {"item": "201312", "occasion": "before use", "all_fine": "yes"},
            "body/all_fine",
        ),
        ("/api/uses", {"item": "201466", "note": "a test run", "used_on": "04.05.2026"}, "body/used_on"),
        ("/api/uses", {"item": "201466", "note": "a test run", "used_on": 20260504}, "body/used_on"),
    ],
)
def test_nothing_is_turned_into_something_else(
    programs: Programs, path: str, body: object, place: str
) -> None:
    told = programs.ask("POST", path, programs.token("N11"), body)
    assert told.problem == (422, "invalid")
    assert place in [error["at"] for error in told.json["errors"]]


def test_what_was_sent_is_not_sent_back(programs: Programs) -> None:
    secret = "hunter2-of-somebody"  # noqa: S105  It is nobody's.
    body = {"item": [secret], "reason": {"x": secret}}
    assert secret not in programs.ask("POST", "/api/holds", programs.token("N11"), body).body.decode()


@pytest.mark.parametrize("query", ["knd=wrench", "site=NORTH&sites=EAST"])
def test_a_question_that_is_not_described_is_refused(programs: Programs, query: str) -> None:
    told = programs.ask("GET", f"/api/items?{query}", programs.token("N11"))
    assert told.problem == (422, "invalid")
    assert told.json["errors"][0]["at"].startswith("query/")


@pytest.mark.parametrize(
    "body",
    [
        b"{",
        b"",
        b"\xff\xfe",
        b"nul",
        b'{"item": 1e999}',
        b"[" * 50_000,
        b'{"a": ' + b"9" * 5000 + b"}",
        b'"\\ud800"',
    ],
    ids=["open", "empty", "no UTF-8", "no word", "too large", "deep", "many figures", "half a pair"],
)
def test_a_body_that_cannot_be_read_is_a_problem(programs: Programs, body: bytes) -> None:
    told = programs.ask("POST", "/api/holds", programs.token("N11"), body)
    assert told.problem == (422, "invalid"), told.body


def test_a_body_that_is_too_long_is_not_read(programs: Programs) -> None:
    told = programs.ask("POST", "/api/holds", programs.token("N11"), b'{"item": "' + b"x" * 100_000 + b'"}')
    assert told.problem == (413, "too-long")


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "application/json; charset=utf-16", ""]
)
def test_only_json_is_read(programs: Programs, kind: str) -> None:
    told = programs.ask("POST", "/api/holds", programs.token("N11"), b"{}", Content_Type=kind)
    assert told.problem == (415, "not-json")


def test_refusals_of_the_house_keep_their_sentence(programs: Programs) -> None:
    token = programs.token("N11")
    told = programs.ask("POST", "/api/away/back", token, {"item": "202081"})
    assert told.problem == (409, "not-possible")
    assert "is not away" in told.json["detail"]
    asked = {"item": "201013", "torque": "90000 N·m"}
    told = programs.ask("POST", "/api/calculations/set-pressure", token, asked)
    assert told.problem == (422, "off-the-chart")
    assert "90,000 N·m lies outside the chart" in told.json["detail"]
    told = programs.ask("POST", "/api/calculations/set-pressure", token, asked | {"torque": "90 psi"})
    assert told.problem == (422, "unreadable")


def test_what_breaks_is_told_by_a_number_only(programs: Programs, caplog: pytest.LogCaptureFixture) -> None:
    token = programs.token("N11")
    with programs.pages.room.act() as db:
        db.execute(text("ALTER TABLE hold RENAME TO gone"))
    with caplog.at_level(logging.ERROR, logger="fleet.pages"):
        told = programs.ask("GET", "/api/holds", token)
    assert told.problem in ((500, "broken"), (503, "out-of-order"))
    assert "hold" not in told.json["detail"]
    number = told.json["detail"].rstrip(".").split()[-1]
    assert number in caplog.text
    assert token not in caplog.text


def test_what_a_token_may_not_do_is_in_the_log(programs: Programs, caplog: pytest.LogCaptureFixture) -> None:
    hold = {"item": "201056", "reason": "a scratch on the piston"}
    with caplog.at_level(logging.WARNING, logger="fleet.pages"):
        assert programs.ask("POST", "/api/holds", programs.token("N21"), hold).status == 403
        assert programs.ask("POST", "/api/holds", programs.token("N11", Scope.READ), hold).status == 403
    denied = [one.getMessage() for one in caplog.records if one.name == "fleet.pages"]
    assert ["is not a keeper" in denied[0], "with the scope upkeep" in denied[1]] == [True, True]


def test_one_too_many_at_once_is_told_so_as_a_problem(programs: Programs) -> None:
    """Which of them is one too many is left to luck; none is told otherwise than in problems."""
    token = programs.token("N11")
    with ThreadPoolExecutor(12) as pool:
        told = list(pool.map(lambda _: programs.ask("GET", "/api/weeks?weeks=53", token), range(24)))
    assert {one.status for one in told} <= {200, 429}
    for one in told:
        if one.status == 429:
            assert one.problem == (429, "too-often")
            assert one.headers["retry-after"] == "1"


def test_every_answer_carries_the_headers_and_none_lets_another_place_in(programs: Programs) -> None:
    token = programs.token("N11")
    for path in ("/api/sites", "/api/nothing", "/api/", "/api/openapi.json", "/api/due?days=x"):
        told = programs.ask("GET", path, token, Origin="https://elsewhere.example")
        for name, value in ALWAYS.items():
            assert told.headers[name.lower()] == value, path
        assert told.headers["cache-control"] == "no-store"
        assert not [name for name in told.headers if name.startswith("access-control")]
        assert "set-cookie" not in told.headers
    told = programs.raw(
        "OPTIONS",
        "/api/holds",
        None,
        {"Origin": "https://elsewhere.example", "Access-Control-Request-Method": "POST"},
    )
    assert told.problem == (405, "wrong-method")
    assert not [name for name in told.headers if name.startswith("access-control")]


def test_a_session_is_worth_nothing_here_so_no_page_elsewhere_can_act(programs: Programs) -> None:
    cookie = f"__Host-fleet={programs.pages.tokens['keeper']}"
    hold = {"item": "201056", "reason": "a scratch on the piston"}
    assert programs.ask("POST", "/api/holds", None, hold, Cookie=cookie).problem == (401, "no-token")
    told = programs.ask("GET", "/api/", None, Cookie=cookie)
    assert "Marla" not in told.body.decode()


def test_a_token_that_asks_too_often_has_to_wait(demo_room: Room, clock: Clock) -> None:
    with serving(demo_room, clock, make_app(demo_room)) as pages:
        programs = Programs(pages)
        token, other = programs.token("N11"), programs.token("N12")
        told = [programs.ask("GET", "/api/sites", token).status for _ in range(121)]
        assert told == [200] * 120 + [429]
        last = programs.ask("GET", "/api/sites", token)
        assert last.problem == (429, "too-often")
        assert last.headers["retry-after"] == "1"
        assert programs.ask("GET", "/api/sites", other).status == 200
        clock.pass_by(seconds=1)
        assert programs.ask("GET", "/api/sites", token).status == 200


def test_a_pace_fills_up_to_its_most_and_a_clock_set_back_gives_nothing(clock: Clock) -> None:
    buckets = Buckets(Pace(at_once=2, per_second=0.5))
    buckets.take(1, clock.now)
    buckets.take(1, clock.now)
    with pytest.raises(Problem) as refused:
        buckets.take(1, clock.now)
    assert refused.value.headers == {"Retry-After": "3"}
    clock.pass_by(hours=-1)
    with pytest.raises(Problem):
        buckets.take(1, clock.now)
    clock.pass_by(hours=2)
    buckets.take(1, clock.now)
    buckets.take(1, clock.now)
    with pytest.raises(Problem):
        buckets.take(1, clock.now)


def test_the_page_lists_every_address(programs: Programs) -> None:
    page = programs.ask("GET", "/api/", None).body.decode()
    for call in CALLS:
        assert f"<code>/api{call.listed[1]}</code>" in page
    for name in SORTS:
        assert f"/api/problems/{name}" in page


def test_the_description_names_every_answer(programs: Programs) -> None:
    made = json.loads(programs.ask("GET", "/api/openapi.json", None).body)
    assert made["openapi"].startswith("3.1")
    for path, operations in made["paths"].items():
        for operation in operations.values():
            assert {"200", "401", "403", "404", "405", "422", "429"} <= set(operation["responses"]), path
            if "requestBody" in operation:
                assert {"413", "415"} <= set(operation["responses"])
            if "acts" in operation["tags"]:
                assert {"400", "409"} <= set(operation["responses"])
                assert "Idempotency-Key" in {one["name"] for one in operation["parameters"]}
