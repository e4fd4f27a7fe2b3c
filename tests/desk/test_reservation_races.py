"""Many who ask for the same item at once: one gets it, the others hear so."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import TYPE_CHECKING

from fleet.desk.reservations import ReserveSlip, reserve
from fleet.refusals import NotPossible
from fleet.room import open_room
from tests.board import Board, after

if TYPE_CHECKING:
    from fleet.room import Room
    from fleet.rules.people import Actor


KEPT = "kept"


def race(room: Room, actor: Actor, tags: list[str], clients: int) -> list[list[str]]:
    """Let each client, with a room of its own, ask for every item at the same moment as all the others.

    Answers, for each client, whether it got each item, or the sentence by which it was refused.
    """
    start = Barrier(clients)

    def run(client: int) -> list[str]:
        own, heard = open_room(room.settings, clock=room.clock), []
        try:
            for tag in tags:
                # Nested and shifted windows, all of which hold the fiftieth hour.
                window = after(48 - client), after(51 + client % 3)
                slip = ReserveSlip(f"{tag}/{client}", (tag,), f"J-{client % 2 + 1}", None, *window)
                start.wait(timeout=60)
                try:
                    with own.act() as db:
                        reserve(db, slip, by=actor, now=own.now(db))
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


def test_of_all_who_ask_at_once_exactly_one_gets_it(board: Board, *, deep: bool) -> None:
    clients, rounds = (32, 200) if deep else (8, 10)
    tags = [board.good()[1] for _ in range(rounds)]

    heard = race(board.room, board.shop.actor("P1"), tags, clients)

    for tag, answers in zip(tags, zip(*heard, strict=True), strict=True):
        refusals = [answer for answer in answers if answer != KEPT]
        assert len(refusals) == clients - 1
        for said in refusals:
            assert "Pat Planner reserved it for J-" in said or "try again" in said
        assert [line[0] for line in board.live()].count(tag) == 1
    assert len(board.live()) == rounds
