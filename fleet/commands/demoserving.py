"""The demo's pages, with somebody of each role who can log in."""

from __future__ import annotations

import secrets
import sys
import threading
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from fleet.room import Room
    from fleet.settings import Settings

LOGINS = (("keeper", "N11"), ("planner", "N21"), ("safety officer", "N31"), ("administrator", "N41"))
WITH_FACTOR = ("N31", "N41")
# As easy to type as they are hard to guess: four of 32 words and two figures, new at each building.
_WORDS = (
    *("anchor", "barley", "candle", "dapple", "ember", "fathom", "gravel", "hazel"),
    *("ivory", "juniper", "kettle", "lantern", "meadow", "nutmeg", "orchard", "pebble"),
    *("quarry", "ribbon", "saddle", "timber", "umber", "velvet", "walnut", "yonder"),
    *("zephyr", "bramble", "copper", "drizzle", "fennel", "goblet", "harbour", "inkwell"),
)


def serve_demo(settings: Settings, port: int) -> None:
    """Make the log-ins, print them, and serve until stopped."""
    from fleet.commands.serve import serve_room
    from fleet.room import open_room

    room = open_room(settings)
    try:
        passwords, secret = _let_in(room)
        serve_room(room, "127.0.0.1", port, with_rounds=False, told=_said(passwords, secret))
    finally:
        room.close()


def _let_in(room: Room) -> tuple[dict[str, str], str]:
    """Set a password for each, and one second factor for those who need one."""
    from fleet.desk.logins import invite, invite_first, set_password, set_second_factor
    from fleet.lists.access import visitor
    from fleet.rules.access import code_at
    from fleet.rules.people import SETTING_UP
    from fleet.rules.secrets import new_totp_secret

    passwords, secret = {badge: _password() for _, badge in LOGINS}, new_totp_secret()
    with room.act() as db:
        now, clock = room.now(db), room.clock()
        code = code_at(secret, _step(clock))
        for role, badge in reversed(LOGINS):
            first = role == "administrator"
            link = (invite_first if first else invite)(db, badge, by=SETTING_UP, now=now)
            token = set_password(db, link, passwords[badge], "made with the demo", now=now).token
            who = visitor(db, token, now)
            if who and badge in WITH_FACTOR:
                set_second_factor(db, who, secret, code, now=now, clock=clock)
    return passwords, secret


def _password() -> str:
    return "-".join([*(secrets.choice(_WORDS) for _ in range(4)), str(secrets.randbelow(90) + 10)])


def _step(clock: datetime) -> int:
    from fleet.rules.access import STEP_SECONDS

    return int(clock.timestamp()) // STEP_SECONDS


def _said(passwords: dict[str, str], secret: str) -> list[str]:
    lines = ["", "Log in as:"]
    lines += [f"  {role:<15} badge {badge}   password {passwords[badge]}" for role, badge in LOGINS]
    lines += [
        f"{' and '.join(WITH_FACTOR)} are asked for a code too; its key for any authenticator: {secret}"
    ]
    if sys.stdin.isatty():
        lines.append("Press Enter here for the present code; Ctrl-C stops.")
        threading.Thread(target=_tell_codes, args=(secret,), daemon=True).start()
    return lines


def _tell_codes(secret: str) -> None:
    from fleet.rules.access import code_at

    for _ in sys.stdin:
        typer.echo(f"Code {code_at(secret, _step(datetime.now(UTC)))}")
