"""Senders that are killed without warning at a named point, each in a process of its own.

``python -m tests.rounds.dying`` starts such processes: it has loaded everything and opened nothing, so that
a thousand deaths need not load it a thousand times. Of a process that died nothing survives: no lock, no
connection, no Python object.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import IO, TYPE_CHECKING, cast

from fleet.mail.post import SmtpPost
from fleet.room import Room, open_room
from fleet.rounds import send_waiting
from fleet.settings import read_settings
from tests.mailserver import mail_settings
from tests.shop import NOON

if TYPE_CHECKING:
    from collections.abc import Iterator
    from contextlib import AbstractContextManager
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.mail.messages import TakenLetter
    from fleet.mail.post import StillOurs
    from fleet.rules.letters import Delivery

PROJECT = Path(__file__).parent.parent.parent
# What a sender does of itself, in this order; in each act it may die before the commit, or after.
ACTS = (("taking", "taken"), ("renewing", "renewed"), ("marking", "marked"))
OWN_POINTS = ("taking", "taken", "asked", "renewing", "renewed", "answered", "marking", "marked")
# Where only the server knows how far the sender is.
POINTS_OF_THE_SERVER = ("connected", "half handed over", "handed over")
# At these points the letter is with the server and nobody has noted it.
MAY_DOUBLE = ("handed over", "answered", "marking")


def now() -> datetime:
    """The time at which all of this happens."""
    return NOON


@dataclass(frozen=True)
class Mortal:
    """What dies at its point."""

    point: str

    def reach(self, here: str) -> None:
        if here == self.point:
            os.kill(os.getpid(), signal.SIGKILL)


@dataclass(frozen=True)
class MortalRoom(Room):
    """A room whose acts may be the last."""

    mortal: Mortal
    number: count[int]

    @contextmanager
    def act(self) -> Iterator[Connection]:
        before, after = ACTS[next(self.number) % len(ACTS)]
        with super().act() as db:
            yield db
            self.mortal.reach(before)
        self.mortal.reach(after)


@dataclass(frozen=True)
class MortalPost:
    """A post that may die when it asks whether the letter is still its own, or when it has the answer."""

    post: SmtpPost
    mortal: Mortal

    def send(self, letter: TakenLetter, still_ours: StillOurs, /) -> Delivery:
        def asked(letter: TakenLetter) -> bool:
            self.mortal.reach("asked")
            return still_ours(letter)

        delivery = self.post.send(letter, asked)
        self.mortal.reach("answered")
        return delivery

    def together(self) -> AbstractContextManager[None]:
        return self.post.together()


def live(database: str, port: str, point: str) -> None:
    """Send what waits, until the point is reached."""
    room = open_room(read_settings({"FLEET_SETTINGS": "/nowhere"}, database=database), clock=now)
    mortal = Mortal(point)
    mortals_room = MortalRoom(room.engine, room.settings, room.clock, mortal, count())
    send_waiting(mortals_room, MortalPost(SmtpPost(mail_settings(int(port), timeout_seconds="60")), mortal))


def main() -> None:
    """Read ``start``, a database, a port and a point, and answer the process id; at ``end`` how it ended."""
    child = 0
    for line in sys.stdin:
        words = line.rstrip("\n").split("\t")
        if words[0] == "start":
            child = os.fork()
            if not child:
                live(*words[1:])
                os._exit(0)
            answer = child
        else:
            # Only now: until then the number of a process that has ended is nobody else's.
            answer = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        sys.stdout.write(f"{answer}\n")
        sys.stdout.flush()


@dataclass
class Nursery:
    """Where senders that will die are started, one after the other."""

    process: subprocess.Popen[str]
    sender: int = 0

    def start(self, room: Room, port: int, point: str) -> None:
        """Start a sender that will die at the point, or at none of its own."""
        database = room.engine.url.render_as_string(hide_password=False)
        self.sender = self._ask(f"start\t{database}\t{port}\t{point}")

    def kill(self) -> None:
        os.kill(self.sender, signal.SIGKILL)

    def end(self) -> int:
        """Wait until the sender has ended; the signal that ended it, negative, or its exit code."""
        return self._ask("end")

    def _ask(self, words: str) -> int:
        to, out = cast("IO[str]", self.process.stdin), cast("IO[str]", self.process.stdout)
        to.write(f"{words}\n")
        to.flush()
        return int(out.readline())


@contextmanager
def nursery() -> Iterator[Nursery]:
    command = [sys.executable, "-m", "tests.rounds.dying"]
    with subprocess.Popen(
        command, cwd=PROJECT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        yield Nursery(process)
        # Its end of the pipe closes, and it goes.
        process.communicate()


if __name__ == "__main__":
    main()
