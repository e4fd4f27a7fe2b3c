"""The same request acts once, however often and from however many sides it is sent."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import func, select, text

from fleet import records
from fleet.rules.tokens import Scope

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.pages.api.programs import Programs

USE = {"item": "201466", "minutes": 5, "note": "test run outside"}
HOLD = {"item": "201056", "reason": "a scratch on the piston"}
REPLAYED = "idempotency-replayed"


def count(room: Room, entity: type[records.Base]) -> int:
    with room.look() as db:
        return db.execute(select(func.count()).select_from(entity)).scalar_one()


@pytest.mark.parametrize(("path", "body"), [("/api/uses", USE), ("/api/holds", HOLD)])
def test_a_request_sent_again_is_answered_as_it_was_and_acts_once(
    programs: Programs, path: str, body: dict[str, object]
) -> None:
    token = programs.token("N11")
    first = programs.ask("POST", path, token, body, key="once-0001")
    entries = count(programs.pages.room, records.EntryRow)
    programs.pages.clock.pass_by(hours=3)
    second = programs.ask("POST", path, token, body, key="once-0001")
    assert (second.status, second.body) == (first.status, first.body) == (200, first.body)
    assert (first.headers.get(REPLAYED), second.headers[REPLAYED]) == (None, "true")
    assert count(programs.pages.room, records.EntryRow) == entries


def test_quotes_around_a_key_are_not_part_of_it(programs: Programs) -> None:
    token = programs.token("N11")
    programs.ask("POST", "/api/holds", token, HOLD, key='"once-0001"')
    assert REPLAYED in programs.ask("POST", "/api/holds", token, HOLD, key="once-0001").headers


def test_the_order_and_the_blanks_of_a_body_do_not_make_it_another(programs: Programs) -> None:
    token = programs.token("N11")
    programs.ask("POST", "/api/holds", token, HOLD, key="once-0001")
    other = b'{ "reason":"a scratch on the piston",  "item":"201056" }'
    assert REPLAYED in programs.ask("POST", "/api/holds", token, other, key="once-0001").headers


def test_another_request_with_the_same_key_is_refused_and_does_nothing(programs: Programs) -> None:
    token = programs.token("N11")
    programs.ask("POST", "/api/holds", token, HOLD, key="once-0001")
    holds = count(programs.pages.room, records.HoldRow)
    for path, body in (("/api/holds", HOLD | {"item": "201064"}), ("/api/uses", USE)):
        told = programs.ask("POST", path, token, body, key="once-0001")
        assert told.problem == (422, "key-used")
    assert count(programs.pages.room, records.HoldRow) == holds
    assert count(programs.pages.room, records.AnswerRow) == 1


def test_keys_of_two_people_have_nothing_to_do_with_each_other(programs: Programs) -> None:
    for badge in ("N11", "N12"):
        told = programs.ask("POST", "/api/uses", programs.token(badge), USE, key="once-0001")
        assert (told.status, told.headers.get(REPLAYED)) == (200, None)


def test_a_token_of_one_site_is_not_told_what_was_answered_at_another(programs: Programs) -> None:
    hold = {"item": "301135", "reason": "a scratch on the piston"}
    assert programs.ask("POST", "/api/holds", programs.token("E31"), hold, key="once-0001").status == 200
    north = programs.token("E31", site="NORTH")
    assert programs.ask("POST", "/api/holds", north, hold, key="once-0001").problem == (422, "key-used")


def test_what_was_refused_may_be_asked_again_under_its_key(programs: Programs) -> None:
    token = programs.token("N11")
    back = {"item": "202081"}
    assert programs.ask("POST", "/api/away/back", token, back, key="once-0001").problem[0] == 409
    send = back | {"sent_to": "Laboratory of the harbour", "errand": "repair"}
    assert programs.ask("POST", "/api/away", token, send).status == 200
    told = programs.ask("POST", "/api/away/back", token, back, key="once-0001")
    assert (told.status, told.headers.get(REPLAYED)) == (200, None)


def test_the_answer_needs_the_token_still_to_be_for_it(programs: Programs) -> None:
    programs.ask("POST", "/api/holds", programs.token("N11"), HOLD, key="once-0001")
    reader = programs.token("N11", Scope.READ)
    assert programs.ask("POST", "/api/holds", reader, HOLD, key="once-0001").problem == (403, "not-for-this")


@pytest.mark.parametrize("key", ["", "short", "x" * 101, "with blank in it", '"open-quote', "ünïcödé-0001"])
def test_without_a_proper_key_nothing_is_changed(programs: Programs, key: str) -> None:
    token = programs.token("N11")
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    if key:
        headers["Idempotency-Key"] = key.encode().decode("latin-1")
    told = programs.raw("POST", "/api/holds", b'{"item": "201056", "reason": "a scratch on it"}', headers)
    assert told.problem == (400, "key-missing")
    assert count(programs.pages.room, records.AnswerRow) == 0


def test_a_race_of_twins_acts_once_and_all_are_told_the_same(programs: Programs, deep: bool) -> None:
    # Of one token four are answered at a time, so the person's two programs race.
    tokens = [programs.token("N11"), programs.token("N11")]
    for number in range(40 if deep else 4):
        before = count(programs.pages.room, records.HoldRow)
        with ThreadPoolExecutor(8) as pool:
            asked = [
                pool.submit(programs.ask, "POST", "/api/holds", tokens[at % 2], HOLD, key=f"race-{number:04}")
                for at in range(8)
            ]
        told = [one.result() for one in asked]
        assert {(one.status, one.body) for one in told} == {(200, told[0].body)}
        assert [one.headers.get(REPLAYED) for one in told].count(None) == 1
        assert count(programs.pages.room, records.HoldRow) == before + 1
        programs.pages.clock.pass_by(minutes=1)


def test_a_race_of_different_requests_with_one_key_does_one_of_them(programs: Programs) -> None:
    token = programs.token("N11")
    before = count(programs.pages.room, records.HoldRow)
    items = ["201056", "201064", "201072", "201080"]
    with ThreadPoolExecutor(4) as pool:
        asked = [
            pool.submit(programs.ask, "POST", "/api/holds", token, HOLD | {"item": item}, key="race-0001")
            for item in items
        ]
    told = sorted(one.result().status for one in asked)
    assert told == [200, 422, 422, 422]
    assert count(programs.pages.room, records.HoldRow) == before + 1


def test_an_act_notes_when_its_token_was_last_used_and_a_look_does_not(programs: Programs) -> None:
    def used() -> list[object]:
        with programs.pages.room.look() as db:
            return list(db.execute(text("SELECT used_at FROM token")).scalars())

    token = programs.token("N11")
    programs.ask("GET", "/api/due", token)
    assert used() == [None]
    programs.ask("POST", "/api/holds", token, HOLD)
    assert None not in used()
