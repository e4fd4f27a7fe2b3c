"""A sender that is killed without warning at a named point: ``dying.py DATABASE PORT POINT``.

It runs in a process of its own, so that nothing of it survives: no lock, no connection, no Python object.
"""

from __future__ import annotations

import os
import signal
import sys
from typing import TYPE_CHECKING

from fleet.desk.sending import mark, take_letter
from fleet.mail.post import SmtpPost
from fleet.room import open_room
from fleet.settings import read_settings
from tests.mailserver import mail_settings
from tests.shop import NOON

if TYPE_CHECKING:
    from datetime import datetime

POINTS = ("taking", "taken", "handed over", "marking", "marked")


def now() -> datetime:
    """The time at which all of this happens."""
    return NOON


def main(database: str, port: str, point: str) -> None:
    """Send one letter after the other, until the point is reached."""
    settings = read_settings({"FLEET_SETTINGS": "/nowhere"}, database=database)
    room = open_room(settings, clock=now)
    post = SmtpPost(mail_settings(int(port)))

    def die_at(here: str) -> None:
        if here == point:
            os.kill(os.getpid(), signal.SIGKILL)

    while True:
        with room.act() as db:
            taken = take_letter(db, "the one that dies", now())
            die_at("taking")
        if taken is None:
            break
        die_at("taken")
        delivery = post.send(taken)
        die_at("handed over")
        with room.act() as db:
            mark(db, taken, delivery, now())
            die_at("marking")
        die_at("marked")


if __name__ == "__main__":
    main(*sys.argv[1:])
