"""A sender is killed at every step of its work: nothing is lost, and doubled only where it must be."""

from __future__ import annotations

import random
import signal
import time
from collections import Counter
from contextlib import suppress
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from fleet.lists.letters import waiting
from fleet.mail.post import SmtpPost
from tests.letterdesk import LetterDesk
from tests.mailserver import mail_settings
from tests.rounds.dying import MAY_DOUBLE, OWN_POINTS, POINTS_OF_THE_SERVER, Nursery, nursery
from tests.scripted import END, Over, Script, Scripted, Talk, accepts, scripted_server
from tests.shop import NOON

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.room import Room
    from tests.shop import Clock, Shop

# Far more than machine and server keep for each other of a letter that is half handed over.
LONG = "Torque wrench, advance and retract line.\n" * 15_000


@pytest.fixture(scope="module")
def made() -> Iterator[Nursery]:
    with nursery() as ready:
        yield ready


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock) -> LetterDesk:
    return LetterDesk(room, shop, clock)


def take_over(desk: LetterDesk, server: Scripted) -> None:
    """The next sender, once the lease of the dead one is over."""
    desk.clock.now = NOON + timedelta(minutes=15)
    desk.send(SmtpPost(mail_settings(server.port, timeout_seconds="60")))
    with desk.room.look() as db:
        assert waiting(db) == 0
    desk.clock.now = NOON


def script_of(point: str, made: Nursery) -> Script:
    """What the server does so that the sender dies where only the server knows how far it is."""

    def kill(talk: Talk) -> None:
        made.kill()
        talk.wait_for_the_end()

    def kill_half_way(talk: Talk) -> None:
        talk.content(enough=3_000)
        made.kill()
        # What the machine of the dead still had is delivered all the same.
        with suppress(Over):
            talk.content()
        if talk.came.endswith(END):
            accepts(Talk.wait_for_the_end)(talk)
        raise Over

    scripts: dict[str, Script] = {
        "connected": {"greeting": kill},
        "half handed over": {"content": kill_half_way},
        "handed over": {"answer": accepts(kill)},
    }
    return scripts.get(point, {})


@pytest.mark.parametrize("point", [*OWN_POINTS, *POINTS_OF_THE_SERVER])
def test_a_sender_killed_at_any_step_loses_nothing(
    desk: LetterDesk, made: Nursery, point: str, *, deep: bool
) -> None:
    """Doubled only when killed after handing over and before marking, and then the same to the last byte."""
    wanted: list[str] = []
    deaths = 100 if deep else 1
    plain = LONG if point == "half handed over" else "Plain.\n"
    with scripted_server() as server:
        for at in range(deaths):
            wanted += desk.put(str(at), 1, plain)
            server.script = script_of(point, made)
            made.start(desk.room, server.port, point)
            assert made.end() == -signal.SIGKILL
            server.script = {}
            take_over(desk, server)
        server.shut()

    came = Counter(server.names())
    assert came.keys() == set(wanted), "none lost"
    assert set(came.values()) == {2 if point in MAY_DOUBLE else 1}
    assert len(set(server.arrived)) == deaths
    begun = point in ("renewed", "half handed over", *MAY_DOUBLE)
    assert {line.unanswered for line in desk.letters()} == {int(begun)}


def test_a_sender_killed_at_any_moment_loses_nothing(desk: LetterDesk, made: Nursery, *, deep: bool) -> None:
    """Twenty letters and a death at a random moment of sending them; each death doubles one at most."""
    deaths = 100 if deep else 2
    chance = random.Random(2026)  # noqa: S311  Luck of a test.
    wanted: list[str] = []
    with scripted_server() as server:
        for at in range(deaths):
            wanted += desk.put(str(at), 20)
            already = len(server.arrived)
            made.start(desk.room, server.port, "never")
            while len(server.arrived) == already:
                time.sleep(0.001)
            time.sleep(chance.uniform(0, 0.25))
            made.kill()
            made.end()
            take_over(desk, server)
        server.shut()

    came = Counter(server.names())
    assert came.keys() == set(wanted), "none lost"
    assert max(came.values()) <= 2
    assert len(server.arrived) - len(wanted) <= deaths
    assert len(set(server.arrived)) == len(wanted), "the same to the last byte"
