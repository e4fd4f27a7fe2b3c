"""Tokens as they are typed: listed and ended, and made on the pages only."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.desk.tokens import TokenSlip, make_calendar, make_token
from fleet.lists.people import find_actor
from fleet.lists.sites import find_site
from fleet.lists.tokens import bearer
from fleet.rules.tokens import Scope

if TYPE_CHECKING:
    from tests.commands.typed import Desk


def test_tokens_are_listed_and_ended_by_their_own_person(desk: Desk) -> None:
    with desk.room.act() as db:
        (by, _), now, site = find_actor(db, "K1"), desk.room.now(db), find_site(db, None)
        token = make_token(db, TokenSlip("Counter tablet", (Scope.READ, Scope.COUNTER)), by=by, now=now)
        make_calendar(db, site, by=by, now=now)
    newest, oldest = desk.type("access", "token", "list", "--json").json
    assert (oldest["id"], oldest["name"], oldest["scopes"]) == (1, "Counter tablet", ["read", "counter"])
    assert (newest["scopes"], newest["site"], newest["expires_at"]) == (["calendar"], site.code, None)
    assert "Counter tablet" in desk.type("access", "token", "list").out
    assert desk.type("access", "token", "list", by="P1").out == "You have none.\n"
    said = "There is no such token of yours, or it was ended before."
    assert desk.refused("access", "token", "end", "1", by="P1") == said
    assert desk.type("access", "token", "end", "1").out == "Token 1 is ended.\n"
    assert desk.refused("access", "token", "end", "1") == said
    assert "ended" in desk.type("access", "token", "list").out
    with desk.room.look() as db:
        assert bearer(db, token, now) is None


def test_no_command_makes_a_token(desk: Desk) -> None:
    assert desk.type("access", "token", "make", "x").code == 2
