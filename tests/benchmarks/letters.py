"""A week's letters of 50 sites with 5 people each, written and sent, against bare sending of the same."""

from __future__ import annotations

import smtplib
import statistics
import time
from contextlib import contextmanager
from datetime import timedelta
from typing import TYPE_CHECKING

from fleet.mail.line import LETTERS_PER_LINE
from fleet.mail.messages import message_of
from fleet.mail.post import SmtpPost, nobody_elses
from fleet.room import open_room, upgrade_database
from fleet.rounds import tick
from fleet.settings import read_settings
from tests.mailhouse import DOMAIN, mail_house
from tests.mailserver import HOST, SENDER, mail_settings
from tests.shop import Clock, Shop

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from fleet.mail.messages import TakenLetter
    from fleet.mail.post import StillOurs
    from fleet.room import Room
    from fleet.rules.letters import Delivery

SITES, PEOPLE, ITEMS, ROUNDS = 50, 5, 20, 5


class Copying(SmtpPost):
    """The post, which remembers what it sent, so that the bare sender may send the same."""

    sent: list[TakenLetter]

    def send(self, letter: TakenLetter, still_ours: StillOurs = nobody_elses) -> Delivery:
        """Send a letter and remember it."""
        self.sent.append(letter)
        return super().send(letter, still_ours)


def run(folder: Path) -> None:
    """Print the ratio to bare sending, by turns, at Debian's mail server, which keeps every message safe."""
    with mail_house() as house, room_of_many(folder) as (room, clock):
        post = Copying(mail_settings(house.port))
        taken: list[tuple[float, float]] = []
        sizes: list[int] = []
        for at in range(ROUNDS + 1):
            clock.pass_by(days=7)
            post.sent = []
            begun = time.perf_counter()
            done = tick(room, post)
            ours = time.perf_counter() - begun
            if (done.sent.sent, done.failed) != (SITES * PEOPLE, ()):
                raise RuntimeError(f"{done}, {done.failed}")
            messages = [(letter.address, message_of(letter, SENDER).as_bytes()) for letter in post.sent]
            begun = time.perf_counter()
            send_bare(house.port, messages)
            if at:  # The first one warms everything up.
                taken.append((ours, time.perf_counter() - begun))
            sizes += [len(content) for _, content in messages]
    ours, bare = (statistics.median(times) for times in zip(*taken, strict=True))
    figures = f"{ours:.2f} s, bare {bare:.2f} s: {ours / bare:.2f} (goal 1.15)"
    size = statistics.median(sizes) / 1000
    print(f"letters of {SITES} sites × {PEOPLE} people, {size:.0f} kB each: {figures}")


def send_bare(port: int, messages: list[tuple[str, bytes]]) -> None:
    """The standard library alone, with as many letters on a line as ours."""
    for first in range(0, len(messages), LETTERS_PER_LINE):
        with smtplib.SMTP(HOST, port, timeout=60) as server:
            server.ehlo()
            for address, content in messages[first : first + LETTERS_PER_LINE]:
                server.sendmail(SENDER, [address], content)


@contextmanager
def room_of_many(folder: Path) -> Iterator[tuple[Room, Clock]]:
    """Sites with people who read and items that are overdue or come due. Invented."""
    settings = read_settings(
        {"FLEET_SETTINGS": "/nowhere", "FLEET_MAIL_FOLDER": str(folder)}, database=str(folder / "letters.db")
    )
    upgrade_database(settings)
    clock = Clock()
    room = open_room(settings, clock=clock)
    shop = Shop(room)
    wrench, pump = shop.model("wrench"), shop.model("pump")
    tasks = [
        shop.task("calibration", "wrench", every_months=12),
        shop.task("inspection", "pump", every_months=6),
    ]
    for at in range(SITES):
        site = shop.site(f"S{at:02d}")
        for number in range(PEOPLE):
            shop.person(f"{at}-{number}", site, "keeper", address=f"reader-{at}-{number}@{DOMAIN}")
        for number in range(ITEMS):
            item, _ = shop.item((wrench, pump)[number % 2], site)
            shop.did(item, tasks[number % 2], clock.now.date() - timedelta(days=20 * number))
    yield room, clock
    room.close()
