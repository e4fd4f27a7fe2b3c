"""Many who ask at once for one item, for any of a class, or to swap: nobody has what another has."""

from __future__ import annotations

from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from threading import Barrier
from typing import TYPE_CHECKING

from fleet.bolting.parts import Kind
from fleet.desk.reservations import ReserveSlip, reserve
from fleet.desk.reserved import ChangeSlip, swap
from fleet.refusals import NotPossible
from fleet.room import open_room
from fleet.rules.item_classes import Wanted
from tests.board import Board, after

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.room import Room

    Heard = list[list[str]]

KEPT = "kept"


def race(room: Room, rounds: int, clients: int, ask: Callable[[Room, Connection, int, int], object]) -> Heard:
    """Let each client, with a room of its own, ask in every round at the same moment as all the others.

    Answers, for each client, whether it got what it asked for in each round, or the sentence of its refusal.
    """
    start = Barrier(clients)

    def run(client: int) -> list[str]:
        own, heard = open_room(room.settings, clock=room.clock), []
        try:
            for number in range(rounds):
                start.wait(timeout=60)
                try:
                    with own.act() as db:
                        ask(own, db, client, number)
                    heard.append(KEPT)
                except NotPossible as refusal:
                    heard.append(str(refusal))
        except BaseException:
            start.abort()
            raise
        finally:
            own.close()
        return heard

    with ThreadPoolExecutor(clients) as pool:
        return list(pool.map(run, range(clients)))


def crossing(client: int) -> tuple[datetime, datetime]:
    """Nested and shifted windows, all of which hold the fiftieth hour."""
    return after(48 - client), after(51 + client % 3)


def overlaps(board: Board) -> list[str]:
    """Every item that is live for two windows at one time."""
    live: defaultdict[str, list[tuple[datetime, datetime]]] = defaultdict(list)
    for tag, _, starts_at, ends_at in board.live():
        live[tag].append((starts_at, ends_at))
    return [tag for tag, windows in live.items() if any(a[1] > b[0] for a, b in pairwise(sorted(windows)))]


def size(*, deep: bool) -> tuple[int, int]:
    """How many clients ask, and how many rounds."""
    return (32, 200) if deep else (8, 10)


def test_of_all_who_ask_at_once_exactly_one_gets_it(board: Board, *, deep: bool) -> None:
    clients, rounds = size(deep=deep)
    tags = [board.good()[1] for _ in range(rounds)]
    actor = board.shop.actor("P1")

    def ask(own: Room, db: Connection, client: int, number: int) -> object:
        tag = tags[number]
        slip = ReserveSlip(f"{tag}/{client}", (tag,), f"J-{client % 2 + 1}", None, *crossing(client))
        return reserve(db, slip, by=actor, now=own.now(db))

    heard = race(board.room, rounds, clients, ask)

    for tag, answers in zip(tags, zip(*heard, strict=True), strict=True):
        refusals = [answer for answer in answers if answer != KEPT]
        assert len(refusals) == clients - 1
        for said in refusals:
            assert "Pat Planner reserved it for J-" in said or "try again" in said
        assert [line[0] for line in board.live()].count(tag) == 1
    assert len(board.live()) == rounds


def test_a_class_is_never_given_out_more_often_than_it_has_items(board: Board, *, deep: bool) -> None:
    """Half as many items as clients; each round has a day of its own, in which all windows meet."""
    clients, rounds = size(deep=deep)
    for _ in range(clients // 2 - 1):
        board.good()
    actor = board.shop.actor("P1")

    def ask(own: Room, db: Connection, client: int, number: int) -> object:
        window = after(24 * number + client % 5), after(24 * number + 6 + client % 3)
        slip = ReserveSlip(f"{number}/{client}", (), "J-1", None, *window, Wanted(Kind.WRENCH))
        return reserve(db, slip, by=actor, now=own.now(db))

    heard = race(board.room, rounds, clients, ask)

    for answers in zip(*heard, strict=True):
        refusals = [answer for answer in answers if answer != KEPT]
        tried_again = [said for said in refusals if "try again" in said]
        assert len(refusals) - len(tried_again) <= clients - clients // 2 <= len(refusals)
        assert all("free and in order" in said for said in refusals if said not in tried_again)
    assert overlaps(board) == []
    assert len(board.live()) == sum(answers.count(KEPT) for answers in heard)


def test_two_never_swap_to_the_same_item(board: Board, *, deep: bool) -> None:
    """Every client holds an item of its own for one time, and all want one of the few that are free."""
    clients, rounds = size(deep=deep)
    own_tags = [board.good()[1] for _ in range(clients)]
    free = clients // 4
    for _ in range(free - 1):
        board.good()
    actor = board.shop.actor("P1")
    for client, tag in enumerate(own_tags):
        board.reserve(f"own/{client}", items=(tag,), job="J-1")
    holding = dict(enumerate(own_tags))

    def ask(own: Room, db: Connection, client: int, number: int) -> object:
        slip = ChangeSlip(f"{number}/{client}", holding[client], "J-1", "Wanted elsewhere", swap=True)
        holding[client] = swap(db, slip, by=actor, now=own.now(db)).tag
        return None

    heard = race(board.room, rounds, clients, ask)

    live = [tag for tag, *_ in board.live()]
    assert overlaps(board) == []
    assert len(live) == len(set(live)) == clients
    assert sorted(live) == sorted(holding.values())
    refusals = {said for answers in heard for said in answers if said != KEPT}
    assert all("free and in order" in said or "try again" in said for said in refusals)
    assert sum(answers.count(KEPT) for answers in heard) >= rounds
