"""The rounds in a process of their own, quicker than life: ``going.py DATABASE FOLDER STORY``.

Stories: ``folder`` sends into the folder; ``stumble`` has the post fail at its first letter as no post ought
to; ``slow`` has it hold each letter until the file ``go on`` lies in the folder.
"""

from __future__ import annotations

import logging
import sys
import time
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from fleet.mail.post import FolderPost, nobody_elses
from fleet.room import open_room
from fleet.settings import read_settings
from fleet.ticking import run_rounds
from tests.shop import NOON

if TYPE_CHECKING:
    from datetime import datetime

    from fleet.mail.messages import TakenLetter
    from fleet.mail.post import StillOurs
    from fleet.rules.letters import Delivery


class StumblingPost(FolderPost):
    """Raises something unforeseen once."""

    stumbled = False

    def send(self, letter: TakenLetter, still_ours: StillOurs = nobody_elses) -> Delivery:
        if not self.stumbled:
            self.stumbled = True
            raise RuntimeError("nobody thought of this")
        return super().send(letter, still_ours)


class SlowPost(FolderPost):
    """Says when it has a letter in hand, and holds it until it may go on."""

    folder = Path()

    def send(self, letter: TakenLetter, still_ours: StillOurs = nobody_elses) -> Delivery:
        (self.folder / f"holding {letter.badge}").touch()
        while not (self.folder / "go on").exists():
            time.sleep(0.01)
        return super().send(letter, still_ours)


def now() -> datetime:
    """The time at which all of this happens."""
    return NOON


def main(database: str, folder: str, story: str) -> None:
    """Go the rounds until a signal comes."""
    logging.basicConfig(level=logging.INFO)
    env = {"FLEET_SETTINGS": "/nowhere", "FLEET_MAIL_FOLDER": f"{folder}/letters"}
    room = open_room(read_settings(env, database=database), clock=now)
    kinds = {"folder": FolderPost, "stumble": StumblingPost, "slow": SlowPost}
    SlowPost.folder = Path(folder)
    run_rounds(room, kinds[story](room.settings.mail), every=timedelta(seconds=0.1))


if __name__ == "__main__":
    main(*sys.argv[1:])
