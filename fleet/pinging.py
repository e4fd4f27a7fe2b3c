"""Tells a watcher outside that all letters of a week went out: it must notice when that is not said.

Said is only what a fresh look at the database confirms, never that a job ran. Whoever listens is to raise
the alarm by another way than these letters.
"""

from __future__ import annotations

import logging
import threading
from http.client import HTTPException
from typing import TYPE_CHECKING
from urllib.error import HTTPError
from urllib.parse import quote
from urllib.request import HTTPRedirectHandler, Request, build_opener

from fleet.desk.heartbeats import beat
from fleet.lists.duty import last_note, run_complete
from fleet.lists.sites import sites
from fleet.measures.times import last_letter_due, zone

if TYPE_CHECKING:
    from datetime import datetime

    from fleet.lists.sites import SiteLine
    from fleet.room import Room

LONGEST = 10.0  # seconds

log = logging.getLogger("fleet.rounds")


class Unheard(Exception):  # noqa: N818  Not an error of the program: the watcher cannot be told now.
    """The watcher did not take a ping."""


def ping_complete(room: Room) -> None:
    """Tell of each site whose letters of its last letter day all went out, once per week.

    What fails is logged and tried again in the next round. An address that is the same for all sites is told
    only when none of them lags behind, or one site would hide another.
    """
    if room.settings.ping is None:
        return
    try:
        _ping(room, room.settings.ping)
    except Exception:
        # The rounds have other work, and nothing hangs on this but an alarm that is raised without it.
        log.exception("It could not be seen to that somebody is told which letters went out.")


def _ping(room: Room, url: str) -> None:
    with room.look() as db:
        now = room.now(db)
        due = [(site, _due_week(site, now)) for site in sites(db)]
        told = {site.code for site, week in due if last_note(db, _name(site)) == week}
        sent = {site.code: run_complete(db, site.id, week) for site, week in due}
    if "{site}" not in url and not all(sent.values()):
        return
    for site, week in due:
        if sent[site.code] and site.code not in told:
            _tell(room, site, week, sent[site.code], url)


def _due_week(site: SiteLine, now: datetime) -> str:
    return last_letter_due(now, zone(site.time_zone), site.letter_weekday, site.letter_hour)[0]


def _name(site: SiteLine) -> str:
    return f"ping {site.code}"


def _tell(room: Room, site: SiteLine, week: str, letters: int, url: str) -> None:
    address = url.replace("{site}", quote(site.code, safe=""))
    try:
        post(address, f"{site.code}: {letters} letters of {week} sent, none left.\n")
    except Unheard as reason:
        # The address itself may be a secret.
        log.warning("Nobody could be told that the letters of %s went out: %s", site.code, reason)
        return
    with room.act() as db:
        beat(db, _name(site), week, now=room.clock())
    log.info("It was told that the letters of %s for %s went out.", site.code, week)


def post(address: str, said: str, *, longest: float = LONGEST) -> None:
    """Post a few words, and wait no longer than so many seconds: letters must not wait for a slow watcher.

    Raises Unheard when it did not take them.
    """
    outcome: list[str | None] = []

    def try_it() -> None:
        outcome.append(_post(address, said, longest))

    name = f"ping {address}"
    if any(thread.name == name for thread in threading.enumerate()):
        raise Unheard("the last try has not ended yet.")
    thread = threading.Thread(target=try_it, name=name, daemon=True)
    thread.start()
    thread.join(longest)
    if not outcome:
        raise Unheard(f"no answer within {longest:g} seconds.")
    if outcome[0] is not None:
        raise Unheard(outcome[0])


def _post(address: str, said: str, seconds: float) -> str | None:
    """Post; answers what went wrong, if it did."""
    request = Request(  # noqa: S310  The settings take only http and https.
        address, said.encode(), {"Content-Type": "text/plain; charset=utf-8", "User-Agent": "fleet"}
    )
    try:
        build_opener(_StaysThere).open(request, timeout=seconds).close()
    except HTTPError as answer:
        answer.close()
        return f"it answered {answer.code}."
    except (OSError, ValueError, HTTPException) as error:
        return f"{type(error).__name__}: {error}"
    return None


class _StaysThere(HTTPRedirectHandler):
    """Follows nobody: a page to log in at, behind a redirection, would take the ping and tell no one."""

    def redirect_request(self, *_args: object) -> None:
        """No further request; the redirection is then an answer that failed."""
